-- For the lists of the screens: pieces of all artists by title, and lines by date, a page at a time.
CREATE INDEX piece_by_key ON piece (key, id);
CREATE INDEX orders_by_date_and_id ON orders (placed, id);
CREATE INDEX finding_open_by_kind ON finding (kind, id) WHERE resolved IS NULL;
