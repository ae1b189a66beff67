-- Why a finding is so, where that decides what to do: 'access denied', or 'stand-in' where something lies in place of an
-- offline store. Until now only the words of the hint said it.
ALTER TABLE finding ADD COLUMN cause TEXT NOT NULL DEFAULT '';
UPDATE finding SET cause = 'access denied' WHERE hint LIKE 'check its permissions%';
UPDATE finding SET cause = 'stand-in' WHERE kind = 'offline' AND hint LIKE '%catalogue store move %'
    AND (hint LIKE '% is there, but .scan-store.json in it is gone. %'
         OR hint LIKE '% has its marker, but is not the disk last seen at %');
