-- What was observed is added to, never blanked: a file keeps its last known content, and a reading that failed is
-- noted beside it and tried again by the next index run.
ALTER TABLE file ADD COLUMN failed_at TEXT;                              -- NULL: the last look gave its known content
ALTER TABLE file ADD COLUMN failure TEXT NOT NULL DEFAULT '';            -- what that look met, as a kind of finding
-- What is wrong with the bytes themselves, wherever they lie: 'truncated', 'damaged', 'undecoded' or ''.
ALTER TABLE scan ADD COLUMN content_fault TEXT NOT NULL DEFAULT '';
-- The content a file held before an edit that nobody has accepted yet.
ALTER TABLE finding ADD COLUMN former_sha256 TEXT NOT NULL DEFAULT '';

UPDATE finding SET former_sha256 = coalesce((
    SELECT min(s.sha256) FROM scan s WHERE s.sha256 >= substr(detail, 5, 12) AND s.sha256 < substr(detail, 5, 12) || 'g'
    HAVING count(*) = 1), '')
WHERE kind = 'edited' AND detail GLOB 'was [0-9a-f]*';

UPDATE scan SET content_fault = coalesce((
    SELECT n.kind FROM finding n JOIN file f ON f.store_id = n.store_id AND f.path = n.path AND f.scan_id = scan.id
    WHERE n.scan_id = scan.id AND n.resolved IS NULL AND n.kind IN ('truncated', 'damaged', 'undecoded')
          AND n.detail NOT LIKE '% bytes where %' ORDER BY n.kind = 'undecoded', n.kind DESC LIMIT 1), '')
WHERE id IN (SELECT scan_id FROM finding WHERE resolved IS NULL AND kind IN ('truncated', 'damaged', 'undecoded'));

-- Files whose digest an earlier version forgot after one reading that failed: the event log still knows it.
UPDATE file SET failed_at = read_at, failure = 'unreadable', scan_id = known.scan_id, size = known.bytes, mtime_ns = 0
FROM (SELECT t.id AS store_id, e.path, s.id AS scan_id, s.bytes, max(e.id)
      FROM event e JOIN store t ON t.name = e.store JOIN scan s ON s.sha256 = e.sha256
      WHERE e.type = 'message digest calculation' AND e.outcome = 'success' AND e.path <> ''
      GROUP BY t.id, e.path) AS known
WHERE file.scan_id IS NULL AND known.store_id = file.store_id AND known.path = file.path;
-- What could not be read, or was found wrong, is looked at again by the next run.
UPDATE file SET failed_at = read_at, failure = coalesce((
    SELECT n.kind FROM finding n WHERE n.store_id = file.store_id AND n.path = file.path AND n.resolved IS NULL
           AND n.kind IN ('unreadable', 'changed', 'truncated', 'empty', 'edited') AND n.former_sha256 = '' LIMIT 1),
    'unreadable')
WHERE failed_at IS NULL AND (store_id, path) IN (
    SELECT n.store_id, n.path FROM finding n WHERE n.resolved IS NULL AND n.former_sha256 = ''
    AND (n.kind IN ('unreadable', 'changed') OR n.kind IN ('truncated', 'empty', 'edited') AND n.scan_id = file.scan_id
         AND n.detail LIKE '% bytes where %'));
