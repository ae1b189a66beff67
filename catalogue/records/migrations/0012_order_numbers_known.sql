-- Order numbers that a recovery knows only from a job sheet: they are on paper, so they are not given out again.

CREATE TABLE order_number_known (
    number TEXT PRIMARY KEY,
    source TEXT NOT NULL,                    -- the file that names it
    noted  TEXT NOT NULL
) STRICT;
