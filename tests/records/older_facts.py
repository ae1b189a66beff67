"""What a catalogue of any schema says, as plain values: the same before an upgrade and after it. SQL alone."""

import sqlite3
from typing import Any

_QUERIES = {
    "orders": "SELECT number, placed, buyer, status, currency, notes FROM orders ORDER BY number",
    "lines": """SELECT o.number, a.name, p.title, l.width_mm, l.height_mm, l.medium, l.border_mm, l.quantity,
                       l.scan_sha256, l.price, l.notes, l.cancelled, l.edition_id
                FROM order_line l JOIN orders o ON o.id = l.order_id JOIN piece p ON p.id = l.piece_id
                JOIN artist a ON a.id = p.artist_id ORDER BY l.id""",
    "editions": "SELECT id, size_limit, proofs, scope, medium, opened, closed FROM edition ORDER BY id",
    "artists": "SELECT name, contact, terms, notes FROM artist ORDER BY name",
    "pieces": """SELECT a.name, p.title, p.year, p.series, p.inventory_number, p.width_mm, p.height_mm, p.notes,
                        s.sha256
                 FROM piece p JOIN artist a ON a.id = p.artist_id LEFT JOIN scan s ON s.id = p.current_scan_id
                 ORDER BY a.name, p.title""",
    "scans": """SELECT s.sha256, s.pixel_digest, s.bytes, s.role, p.title
                FROM scan s LEFT JOIN piece p ON p.id = s.piece_id ORDER BY s.sha256""",
    "files": """SELECT st.name, f.path, f.size, f.state, s.sha256 FROM file f JOIN store st ON st.id = f.store_id
                LEFT JOIN scan s ON s.id = f.scan_id ORDER BY st.name, f.path""",
    "stores": "SELECT name, kind, marker, forgotten IS NULL FROM store ORDER BY name",
    "verdicts": """SELECT min(a.sha256, b.sha256), max(a.sha256, b.sha256), l.relation, l.verdict, l.judged
                   FROM likeness l JOIN scan a ON a.id = l.a_scan_id JOIN scan b ON b.id = l.b_scan_id
                   WHERE l.verdict <> '' ORDER BY 1, 2""",
    "answers": "SELECT question, answer, given FROM answer ORDER BY question",
    "events": "SELECT id, at, type, chain FROM event WHERE type <> 'migration' ORDER BY id",
}
# (series, number, first line, lines that printed it anew, losses), as the two tables of old and as the one of now say
_NUMBERS_OF_OLD = """
    SELECT n.series, n.number, n.line_id,
           (SELECT group_concat(coalesce(line_id, '') || ' ' || destroyed || ' ' || reason, '; ')
            FROM (SELECT * FROM destroyed_print d WHERE d.edition_id = n.edition_id AND d.series = n.series
                  AND d.number = n.number ORDER BY id))
    FROM edition_number n ORDER BY n.edition_id, n.series, n.number"""
_NUMBERS = """
    SELECT n.series, n.number, n.line_id,
           (SELECT group_concat(coalesce(next, '') || ' ' || destroyed || ' ' || reason, '; ') FROM (
                SELECT d.*, (SELECT line_id FROM edition_print r WHERE r.edition_id = d.edition_id
                             AND r.series = d.series AND r.number = d.number AND r.nth = d.nth + 1) AS next
                FROM edition_print d WHERE d.edition_id = n.edition_id AND d.series = n.series
                AND d.number = n.number AND d.state = 'destroyed' ORDER BY d.nth))
    FROM edition_print n WHERE n.nth = 1 ORDER BY n.edition_id, n.series, n.number"""

_PRINT_FILES = """SELECT line_id, made, recipe, versions, width, height, size, sha256, pixel_digest, name
                  FROM print_file ORDER BY id"""
_PRINT_RECIPES = "SELECT sha256, recipe, delta_e, confirmed FROM print_recipe ORDER BY sha256"
_HANDOVERS = "SELECT line_id, day, quantity, numbers, notes FROM handover ORDER BY id"


def facts(connection: sqlite3.Connection) -> dict[str, list[list[Any]]]:
    """Every fact by the name of its kind."""
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    queries = _QUERIES | {"numbers": _NUMBERS if "edition_print" in tables else _NUMBERS_OF_OLD}
    if "print_file" in tables:
        queries["print files"] = _PRINT_FILES
    if "print_recipe" in tables:
        queries["print recipes"] = _PRINT_RECIPES
    if "handover" in tables:
        queries["handovers"] = _HANDOVERS
    return {name: [list(row) for row in connection.execute(sql)] for name, sql in queries.items()}
