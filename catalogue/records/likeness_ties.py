"""Which scans likeness ties to each other, and which pieces it would file a scan under. Writes nothing."""

from catalogue.records.rows import Database, exists, fetch_id


def is_tile(db: Database, scan_id: int) -> bool:
    """Whether likeness establishes that a scan is a tile of another."""
    return exists(db, """SELECT 1 FROM likeness WHERE a_scan_id = ? AND relation = 'tile of' AND files_together
                         AND verdict <> 'rejected'""", [scan_id])


def is_filed_by_likeness(db: Database, scan_id: int) -> bool:
    """Whether neither a person nor a guess files the scan."""
    return exists(db, """SELECT 1 FROM scan c WHERE c.id = ?1 AND NOT EXISTS (
                             SELECT 1 FROM scan_stated s WHERE s.sha256 = c.sha256 AND s.piece_id IS NOT NULL)
                         AND NOT EXISTS (SELECT 1 FROM scan_guess g WHERE g.scan_id = ?1 AND g.artist_key <> ''
                                         AND g.title_key <> '')""", [scan_id])


def neighbours(db: Database, scan_id: int, *, confirmed: bool) -> list[int]:
    """Scans to which pairs tie one: confirmed ones alone, or confirmed and sure ones; earliest judged first."""
    wanted = "verdict = 'confirmed'" if confirmed else "(verdict = 'confirmed' OR files_together AND verdict = '')"
    return [int(row[0]) for row in db.execute(f"""
        SELECT b_scan_id, coalesce(judged, 'z') AS judged, id FROM likeness WHERE a_scan_id = ?1 AND {wanted}
        UNION ALL SELECT a_scan_id, coalesce(judged, 'z'), id FROM likeness WHERE b_scan_id = ?1 AND {wanted}
        ORDER BY judged, id""", [scan_id])]


def tied_scans(db: Database, scan_ids: set[int]) -> set[int]:
    """These scans and all that are filed by likeness alone and tied to them."""
    reached, open_ = set(scan_ids), list(scan_ids)
    while open_:
        for other in neighbours(db, open_.pop(), confirmed=False):
            if other not in reached and is_filed_by_likeness(db, other):
                reached.add(other)
                open_.append(other)
    return reached


def pieces_near(db: Database, scan_id: int, *, confirmed: bool) -> list[int]:
    """Pieces of the scans that pairs tie this one to, through scans filed by likeness too; nearest first."""
    seen, ring, pieces = {scan_id}, [scan_id], list[int]()
    while ring:
        following: list[int] = []
        for neighbour in ring:
            for other in neighbours(db, neighbour, confirmed=confirmed):
                if other in seen:
                    continue
                seen.add(other)
                if is_filed_by_likeness(db, other):
                    following.append(other)
                else:
                    piece_id = fetch_id(db, "SELECT piece_id FROM scan WHERE id = ?", [other])
                    if piece_id is not None and piece_id not in pieces:
                        pieces.append(piece_id)
        ring = following
    return pieces
