-- Recipes of print files from before, found from the picture and confirmed by a person: what a repeat takes over.
CREATE TABLE print_recipe (
    sha256    TEXT PRIMARY KEY,              -- of the old print file
    recipe    TEXT NOT NULL,                 -- print_files.recipe.Recipe as JSON
    delta_e   REAL NOT NULL,                 -- mean CIEDE2000 between the old file and the recipe's
    confirmed TEXT NOT NULL                  -- ISO 8601, UTC
) STRICT;
