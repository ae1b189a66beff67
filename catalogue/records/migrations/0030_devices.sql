-- What a store lies on, in columns of its own: `disks` are the whole disks below it, or the server of a share, a line
-- each, as the system said; `device` is one text for all stores that are lost together. Both stood behind the first
-- line of `filesystem`, where the disks of one store could not be told from those it was lost with.

ALTER TABLE store_place ADD COLUMN disks TEXT NOT NULL DEFAULT '';
ALTER TABLE store_place ADD COLUMN device TEXT NOT NULL DEFAULT '';
UPDATE store_place SET disks = substr(filesystem, instr(filesystem, char(10)) + 1),
                       filesystem = substr(filesystem, 1, instr(filesystem, char(10)) - 1)
    WHERE instr(filesystem, char(10));
-- Two shares of one server are no two places. What is before the share's path, user and brackets left out; the next
-- look at the store notes it as storage.mounts.servers_of reads it.
UPDATE store_place SET disks = substr(filesystem, 9, instr(substr(filesystem, 9) || '/', '/') - 1)
    WHERE disks = '' AND filesystem LIKE 'share //%';
UPDATE store_place SET disks = substr(filesystem, 7, instr(filesystem, ':/') - 7)
    WHERE disks = '' AND filesystem LIKE 'share %:/%' AND filesystem NOT LIKE 'share %://%';
UPDATE store_place SET disks = 'server '
        || rtrim(lower(trim(substr(disks, instr(disks, '@') + 1), '[]')), '.')
    WHERE disks <> '' AND filesystem LIKE 'share %';
UPDATE store_place SET device = CASE WHEN disks = '' THEN filesystem ELSE disks END;
