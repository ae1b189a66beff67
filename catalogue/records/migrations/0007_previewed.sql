-- Which scans have a preview is asked at every update of likenesses: without this every scan was read for it.
CREATE INDEX scan_previewed ON scan (id) WHERE has_preview = 1;
