"""Print files made from a master and a recipe, the same bits each time. Knows no database.

``recipe`` says what is made, ``layout`` where everything lies on it, ``render`` makes it in one fixed
order of steps.
"""
