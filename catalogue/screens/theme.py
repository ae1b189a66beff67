"""The dark and the light theme: near-neutral greys, so that the pictures carry the colour, and one warm accent."""

from textual.theme import Theme

DARK = Theme(
    name="dim studio", dark=True,
    primary="#b9a27c", secondary="#8c97a0", accent="#d8bd8a", foreground="#d9d6cf", background="#191a1b",
    surface="#202224", panel="#2a2c2f", success="#9dbb94", warning="#d9b36c", error="#d98b7d",
    variables={"quiet": "#8f8d86", "line": "#3a3c3f", "block-cursor-background": "#45402f",
               "block-cursor-foreground": "#f3ecdd", "block-cursor-text-style": "none",
               "block-cursor-blurred-background": "#2f3031", "block-cursor-blurred-foreground": "#d9d6cf",
               "block-cursor-blurred-text-style": "none", "border": "#3a3c3f", "border-blurred": "#2a2c2f",
               "input-selection-background": "#5a5236", "scrollbar": "#35373a", "scrollbar-background": "#202224",
               "scrollbar-hover": "#4a4d50", "scrollbar-active": "#6a6d70", "scrollbar-corner-color": "#202224",
               "scrollbar-background-hover": "#202224", "scrollbar-background-active": "#202224"},
)

LIGHT = Theme(
    name="paper", dark=False,
    primary="#7a5f2c", secondary="#56626b", accent="#8a6516", foreground="#2b2a27", background="#f4f2ed",
    surface="#ebe8e1", panel="#dedad1", success="#3f6b3a", warning="#835a08", error="#9c3a2c",
    variables={"quiet": "#6a675f", "line": "#c9c4b8", "block-cursor-background": "#dccfae",
               "block-cursor-foreground": "#231f14", "block-cursor-text-style": "none",
               "block-cursor-blurred-background": "#e0dcd2", "block-cursor-blurred-foreground": "#2b2a27",
               "block-cursor-blurred-text-style": "none", "border": "#c9c4b8", "border-blurred": "#dedad1",
               "input-selection-background": "#d9c68f", "scrollbar": "#cbc6bb", "scrollbar-background": "#ebe8e1",
               "scrollbar-hover": "#b5afa2", "scrollbar-active": "#9a9486", "scrollbar-corner-color": "#ebe8e1",
               "scrollbar-background-hover": "#ebe8e1", "scrollbar-background-active": "#ebe8e1"},
)
