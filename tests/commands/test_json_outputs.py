"""What ``--json`` prints is a promise to programs: every command's keys and types, written down by hand here.

A schema is a type; a tuple of alternatives; a list of one schema, for any number of such; a dict, for exactly these
keys; or ``Words``, for a table whose keys are words of the archive, such as kinds of finding.
"""

import hashlib
import json
import re
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from test_names_are_data import leaves

from catalogue.commands import command as program
from catalogue.commands import main
from catalogue.commands.printing import plain

NUMBER = (int, float)
WORD = re.compile(r"[^\W_][\w .,+-]*")


@dataclass(frozen=True)
class Words:
    """A table of any words to values of one schema."""

    of: Any


NONE = type(None)
STORE = {"id": int, "name": str, "root": str, "kind": str, "marker": str, "added": str, "one_reader": int,
         "forgotten": (str, NONE)}
FINDING = {"id": int, "kind": str, "store_id": (int, NONE), "path": str, "file_id": (int, NONE), "scan_id": (int, NONE),
           "detail": str, "hint": str, "offset": (int, NONE), "first_seen": str, "last_seen": str,
           "resolved": (str, NONE), "resolution": str, "former_sha256": str, "cause": str}
SCAN = {"id": int, "sha256": str, "pixel_digest": str, "bytes": int, "format": str, "width": (int, NONE),
        "height": (int, NONE), "bits": (int, NONE), "samples": (int, NONE), "photometric": str, "compression": str,
        "ppi_x": (float, NONE), "ppi_y": (float, NONE), "profile_name": str, "profile_digest": str, "role": str,
        "role_source": str, "piece_id": (int, NONE), "piece_source": str, "title": str, "creator": str,
        "captured": str, "device": str, "has_preview": int, "first_indexed": str}
PIECE = {"id": int, "artist_id": int, "artist": str, "title": str, "year": str, "series": str, "inventory_number": str,
         "medium": str,
         "width_mm": (float, NONE), "height_mm": (float, NONE), "relief_mm": (float, NONE),
         "current_scan_id": (int, NONE), "current_source": str, "notes": str}
ORDER = {"id": int, "number": str, "placed": str, "buyer": str, "status": str, "currency": str, "notes": str}
ASKED = {"piece_id": int, "width_mm": float, "height_mm": float, "medium": str, "border_mm": float, "wrap_mm": float,
         "edge": str, "quantity": int, "edition_id": (int, NONE), "scan_sha256": str, "scan_name": str,
         "profile": str, "settings": str, "price": str, "unit_price": str, "notes": str, "repeat_of": (int, NONE)}
LINE = ASKED | {"id": int, "order_id": int, "cancelled": int, "number": str, "placed": str, "buyer": str,
                "status": str, "currency": str, "artist": str, "title": str, "numbers": str, "handed": int,
                "order_status": str}
HANDED = {"line_id": int, "day": str, "quantity": int, "numbers": str, "notes": str, "id": int}
RECIPE = {"master_sha256": str, "width_mm": float, "height_mm": float, "ppi": int, "turn": int, "crop": NONE,
          "fit": str, "border_mm": float, "wrap_mm": float, "edge": str, "stretch_mm": float, "edge_colour": str,
          "bleed_mm": float, "marks": bool, "kernel": str, "profile_sha256": str, "intent": str, "black_point": bool,
          "sharpen": ([float], NONE), "bits": int, "compression": str, "version": int}
PRINT_FILE = {"id": int, "line_id": int, "made": str, "recipe": str, "versions": str, "width": int, "height": int,
              "size": int, "sha256": str, "pixel_digest": str, "folder": str, "name": str}
PRINTS = {"made": [{"line": LINE, "record_id": int, "cautions": [str],
                    "file": {"path": str, "recipe": RECIPE, "width": int, "height": int, "size": int, "sha256": str,
                             "pixel_digest": str, "versions": str, "ppi_there": float, "cautions": [str],
                             "there": bool},
                    "comparison": (NONE, {"then": PRINT_FILE, "same_bytes": bool, "same_pixels": bool,
                                          "recipe": Words(list), "versions": Words(list), "delta_e": (NONE, [float]),
                                          "patch": float, "unknown": str})}],
          "not_made": [{"line": LINE, "message": str, "hint": str, "path": str}]}
SUMS = {"orders": int, "lines": int, "prints": int, "money": [{"currency": str, "amount": str}], "unpriced": int,
        "cancelled": int}
BUYER = {"key": str, "name": str, "contact": str, "notes": str, "orders": int, "last_order": str}
EDITION = {"id": int, "piece_id": int, "size_limit": (int, NONE), "proofs": int, "scope": str,
           "width_mm": (float, NONE), "height_mm": (float, NONE), "medium": str, "opened": str, "closed": str,
           "notes": str}
STATE = {"edition": EDITION, "numbers_out": int, "proofs_out": int, "numbers_left": (int, NONE), "proofs_left": int,
         "next_number": (int, NONE), "lost": int}
ARTIST = {"id": int, "name": str, "key": str, "contact": str, "terms": str, "notes": str}
EVIDENCE = {"relation": str, "sure": NUMBER, "reasons": [str], "inliers": int, "matches": int, "overlap_a": NUMBER,
            "overlap_b": NUMBER, "rotation": NUMBER, "scale": NUMBER, "correlation": NUMBER,
            "correlation_low": NUMBER, "grain": (float, NONE), "texture": (float, NONE), "patch": (float, NONE),
            "colour_patch": (float, NONE), "hue_turn": (float, NONE), "delta_e_median": NUMBER, "delta_e_high": NUMBER,
            "detail_ratio": NUMBER, "ppi_a": (float, NONE), "ppi_b": (float, NONE), "size_a": [int], "size_b": [int],
            "matrix": [NUMBER]}
PAIR = {"id": int, "a_scan_id": int, "b_scan_id": int, "evidence": EVIDENCE, "verdict": str}
FACTS = {"sha256": str, "width": int, "height": int, "pixel_digest": str, "bits": int, "ppi": (float, NONE),
         "profile": str, "format": str, "captured": str, "role": str, "upscaled": bool}
MEMBER = {"scan_id": int, "sha256": str, "role": str, "piece_id": (int, NONE), "facts": FACTS}
GROUP = {"members": [MEMBER], "pairs": [PAIR], "pieces": [int], "proposed": str, "reasons": [str]}
TERMS = {"artist_id": int, "since": str, "basis": str, "rate": str, "currency": str, "destroyed": int, "replaced": int,
         "proofs": int}
OWED = {"line_id": int, "order": str, "date": str, "title": str, "size": str, "medium": str, "numbers": str,
        "prints": int, "price": str, "currency": str, "each": str, "amount": str, "owed_in": str, "note": str}
TO_ARTIST = {"statement": {"artist_id": int, "artist": str, "first": str, "last": str, "issued": str, "terms": [str],
                           "rows": [OWED], "corrections": [OWED], "totals": [{"currency": str, "amount": str}]},
             "files": [str]}
STATEMENT = {"id": int, "detail": str}
ADVICE = {"piece_id": int, "artist": str, "title": str, "prints": int, "last": str, "master_ppi": float,
          "scan_ppi": (float, NONE),
          "sizes": [{"width_mm": float, "height_mm": float, "prints": int, "ppi": float, "least_ppi": int}]}
GUESS = {"value": str, "certainty": NUMBER, "reason": str}
PROPOSAL = {"kind": str, "artist": GUESS, "piece": GUESS, "piece_id": (int, NONE), "ready": bool, "reasons": [str],
            "warnings": [str], "questions": [str], "map": str, "capture": Words(str),
            "files": [{"source": str, "role": str, "target": str, "sha256": str, "bytes": int}]}
INTAKE = {"plan": [PROPOSAL], "likenesses": int, "without_copy": dict, "outcome": (NONE, {
    "taken": [{"source": str, "store": str, "target": str, "sha256": str, "outcome": str, "sidecars": int,
               "sidecars_left": int}], "skipped": list,
    "removed": [str], "not_removed": list, "stopped": bool, "trouble": str})}
MOVE = {"file_id": int, "source": str, "target": str, "sha256": str, "size": int, "why": str}
TIDY = {"plan": {"store_id": int, "store": str, "moves": [MOVE], "in_order": int, "remarks": [[str]]},
        "done": (NONE, {"moved": [MOVE], "skipped": list, "undo": str, "stopped": bool})}
CRITERION = {"area": str, "level": int, "text": str, "met": bool, "evidence": str, "asks": str, "answered": bool}
MANIFEST = [{"store": str, "path": str, "files": int}]
BACKUP = {"number": int, "made": str, "path": str}
COPY = {"store": str, "outcome": str, "copied": int, "adopted": int, "renamed": int, "sidecars": int,
        "sidecars_replaced": int, "bytes": int, "one_disk": bool,
        "not_copied": [{"path": str, "reason": str}], "trouble": str}
FAULT = {"error": str, "hint": str, "path": str}
INDEX = [{"store": str, "outcome": str, "seen": int, "unchanged": int, "read": int, "bytes": int, "gone": int,
          "findings": Words(int), "uncompared": int, "seconds": float}]
SHOW = PIECE | {
    "caution": str,
    "scans": [SCAN | {"current": bool, "width_mm": (float, NONE), "height_mm": (float, NONE),
                      "notes": [{"kind": str, "detail": str, "yardstick": str}],
                      "copies": int, "stores": int,
                      "files": [{"store": str, "path": str, "state": str, "checked": (str, NONE)}]}],
    "prints up to": [{"ppi": int, "width_mm": float, "height_mm": float}], "findings": [FINDING | {"store": str}],
    "orders": [LINE]}
FIND = {"artists": [{"id": int, "name": str, "pieces": int}],
        "pieces": [{"id": int, "artist": str, "title": str, "year": str, "sha256": str}],
        "orders": [{"id": int, "number": str, "placed": str, "buyer": str, "status": str, "summary": str,
                    "piece_id": (int, NONE)}],
        "files": [{"id": int, "path": str, "store": str, "state": str, "scan_id": (int, NONE), "piece_id": (int, NONE),
                   "role": str, "sha256": str}], "corrected": list, "ignored": [str]}
AUDIT = {"stores": [{"store": str, "outcome": str, "checked": int, "bytes": int, "intact": int, "remaining": int,
                     "carried_on": int, "findings": Words(int), "seconds": float}], "copies": Words(str),
         "all on one disk": bool}
LOG = {"events": int, "head": {"id": int, "at": str, "chain": str}, "broken": list, "lost": str, "backwards": int,
       "differences": list, "journal": list, "journal_damaged": bool, "passed_over": list}
CERTIFICATE = {"number": str, "artist": str, "title": str, "year": str, "size": str, "medium": str, "order": str,
               "date": str, "shown_date": str, "buyer": str, "sha256": str, "remarks": str, "lost": bool, "where": str}
IMPORT = {"kind": str, "counts": Words(int), "matched": Words(str), "unused": [str], "notes": [str], "encoding": str,
          "dry_run": bool,
          "fates": [{"row": int, "fate": str, "text": str, "detail": str, "remarks": [str], "line_id": (int, NONE)}]}
PHOTO_MATCH = {"key": str, "sure": NUMBER, "inliers": int, "agreement": NUMBER, "shown": NUMBER, "corners": [[NUMBER]]}
STORES = [{"name": str, "kind": str, "folder": str, "online": bool, "files": int, "bytes": int, "missing": int,
           "unread": int, "oldest check": (str, NONE), "on one disk with": [str], "server": str,
           "marker also at": [str]}]
PLAN = {"bed": str, "bed_mm": [NUMBER], "width_mm": float, "height_mm": float, "across": int, "down": int,
        "overlap_across": (float, NONE), "overlap_down": (float, NONE), "lefts": [NUMBER], "tops": [NUMBER]}
WISH = {"across": int, "down": int, "width_mm": float, "height_mm": float, "bed_mm": [NUMBER], "overlap": float}

# In this order; words, exit code (None where it hangs on the machine), schema. {…} are places of the archive below.
CALLS: list[tuple[list[str], int | None, Any]] = [
    (["store", "add", "main", "{main}", "--marker"], 0, STORE),
    (["store", "add", "copy", "{copy}", "--kind", "copy", "--marker"], 0, STORE),
    (["index", "--workers", "1"], 1, INDEX),
    (["store", "list"], 0, STORES),
    (["findings"], 1, [{**FINDING, "next": str, "command": str}]),
    (["find", "quill"], 0, FIND),
    (["alike"], 0, {"groups": [GROUP], "apart": [PAIR], "doubtful": list, "refused": list}),
    (["find", "--picture", "{master}"], 0,
     [{"scan_id": int, "sha256": str, "piece_id": (int, NONE), "role": str, "photo_match": PHOTO_MATCH}]),
    (["alike", "confirm", "1"], 0, [PAIR]), (["alike", "reopen", "1"], 0, [PAIR]),
    (["alike", "reject", "1"], 0, [PAIR]),
    (["alike", "tiles", "1"], 2, FAULT),
    (["edition", "set", "{dunes}", "--limit", "5", "--medium", "rag"], 0, STATE),
    (["order", "add", "{dunes}", "--size", "20x30", "--medium", "rag", "--number", "N1", "--buyer", "Ann", "--yes"], 0,
     LINE),
    (["order", "list"], 0, {"lines": [LINE], "sums": SUMS}), (["find", "Ann"], 0, FIND),
    (["order", "show", "N1"], 0, ORDER | {"lines": [LINE], "handed_over": [HANDED]}),
    (["order", "change", "N1", "--notes", "x", "--unit-price", "12"], 0,
     {"orders": [ORDER], "lines": [LINE], "event": (int, NONE), "sentences": [str]}),
    (["order", "status", "N1", "approved"], 0, ORDER),
    (["artist", "terms", "quill", "--percent", "40"], 0, [TERMS]), (["artist", "terms", "quill"], 0, [TERMS]),
    (["statement", "quill", "--from", "2020-01-01", "--to", "2099-12-31"], 0, TO_ARTIST),
    (["statement", "quill", "--month", "2020-01", "--issue"], 0, TO_ARTIST),
    (["statement", "quill", "--month", "2020"], 2, FAULT),
    (["buyer", "list"], 0, [BUYER]), (["buyer", "show", "ann"], 0, BUYER | {"spellings": [str], "lines": [LINE],
                                                                           "sums": SUMS}),
    (["buyer", "set", "ann", "--notes", "x"], 0, {"buyer": BUYER, "event": (int, NONE)}),
    (["buyer", "merge", "ann", "--into", "ann"], 2, FAULT), (["order", "list", "--month", "2025"], 2, FAULT),
    (["show", "{dunes}"], 0, SHOW),
    (["order", "repeat", "N1", "--number", "N2", "--yes"], 0, LINE),
    (["order", "handover", "N2", "--quantity", "2"], 2, FAULT),
    (["order", "handover", "N2"], 0, {"orders": [ORDER], "lines": [LINE], "event": (int, NONE), "sentences": [str]}),
    (["order", "show", "N2"], 0, ORDER | {"lines": [LINE], "handed_over": [HANDED]}),
    (["order", "status", "N1", "approved"], 0, ORDER),
    (["order", "correct", "N1", "--line", "1", "--notes", "x"], 0, {"order": ORDER, "lines": [LINE]}),
    (["order", "sheet", "N1", "--text"], 0, [str]), (["order", "sheet", "N1"], 0, [{"folder": str, "files": [str]}]),
    (["print", "N1", "--to", "{more}"], 0, PRINTS), (["print", "N1", "--to", "{more}", "--ppi", "50"], 0, PRINTS),
    (["edition", "list"], 0, [{"artist": str, "title": str, "state": STATE}]),
    (["edition", "show", "{dunes}"], 0, [{"state": STATE, "prints": list}]),
    (["edition", "certificates", "1"], 0, {"rows": [CERTIFICATE], "written": [str]}),
    (["edition", "where"], 0, [{"edition": int, "artist": str, "title": str, "number": str, "place": str, "holder": str,
                                "since": str, "notes": str, "stated": bool}]),
    (["edition", "move", "1", "1", "--to", "consigned"], 2, FAULT),
    (["edition", "destroy", "1", "1", "--reason", "torn"], 0, {"edition": int, "destroyed": str}),
    (["edition", "close", "1"], 0, STATE),
    (["artist", "list"], 0, [{"id": int, "name": str, "pieces": int, "scans": int, "orders": int}]),
    (["artist", "show", "quill"], 0, ARTIST), (["artist", "set", "quill", "--contact", "x"], 0, ARTIST),
    (["piece", "set", "{dunes}", "--notes", "n"], 0, PIECE),
    (["rescan", "--size", "90x90"], 0, [PLAN]), (["rescan", "--size", "big"], 2, FAULT),
    (["rescan"], 0, [ADVICE]),
    (["rescan", "{dunes}"], 0, {"piece": int, "advice": [ADVICE], "captures": (WISH, NONE), "captured before": list}),
    (["import", "{table}", "--make-pieces", "--dates", "%d.%m.%Y"], 1, IMPORT),
    (["intake", "{key}", "--into", "main", "--dry-run"], 1, INTAKE),
    (["intake", "{key}", "--into", "main", "--yes", "--artist", "Ada Quill", "--piece", "Pier"], 0, INTAKE),
    (["recipe", "nothing"], 2, FAULT),
    (["doubles"], None, [{"store": STORE, "groups": list, "set_aside": [{"path": str, "size": int}]}]),
    (["doubles", "main", "--print-files"], 0, []), (["doubles", "--print-files"], 2, FAULT),
    (["doubles", "main", "--free", "--yes"], 0, {"removed": list, "skipped": list, "undo": (str, NONE),
                                                 "stopped": bool}),
    (["tidy", "main"], 1, TIDY), (["tidy", "main", "--yes"], 1, TIDY),
    (["audit"], 1, AUDIT), (["audit", "--log"], 0, LOG),
    (["copy", "--to", "copy", "--yes"], 1, COPY),
    (["restore", "{master}", "--yes"], 2, FAULT),
    (["levels", "--all"], 0, [{"area": str, "level": int, "criteria": [CRITERION], "lacking": [CRITERION]}]),
    (["backup"], 0, {"backup": BACKUP, "manifests": MANIFEST}), (["backup", "--list"], 0, [BACKUP]),
    (["recover", "--yes"], 2, FAULT),
    (["export", "manifest"], 0, MANIFEST),
    (["export", "bag", "{bag}", "--artist", "Ben Orrery"], 0,
     {"folder": str, "files": int, "sidecars": int, "bytes": int}),
    (["export", "bag", "{bag}", "--check"], 0, {"valid": bool, "problems": [{"path": str, "text": str}]}),
    (["export", "csv", "orders", "{more}/orders.csv"], 0, {"written": str}),
    (["export", "csv", "files", "{more}/files.csv"], 0, {"written": str}),
    (["export", "holdings", "quill"], 0, {"written": str}),
    (["sidecar", "{dunes}", "--yes", "--rights", "r"], 0, [{"of": str, "path": str, "trouble": str}]),
    (["doctor"], None, [{"name": str, "facts": dict, "troubles": [str]}]),
    (["piece", "split", "{harbour}", "--scan", "{digest}", "--title", "New"], 0, STATEMENT), (["undo"], 0, STATEMENT),
    (["alike", "split", "{harbour}", "{digest}", "--title", "Newer"], 0, STATEMENT), (["undo"], 0, STATEMENT),
    (["piece", "confirm", "{harbour}"], 0, STATEMENT), (["undo"], 0, STATEMENT),
    (["piece", "merge", "{dunes}", "--into", "{dunes}"], 2, FAULT),
    (["alike", "merge", "{dunes}", "{harbour}"], 0, STATEMENT), (["undo"], 0, STATEMENT),
    (["artist", "rename", "quill", "Ada Quilling"], 0, STATEMENT),
    (["artist", "also", "Ada Quilling", "A. Q."], 0, STATEMENT),
    (["artist", "merge", "Ben Orrery", "--into", "Ada Quilling"], 0, STATEMENT),
    (["scan", "set", "{digest}", "--role", "reference"], 0, STATEMENT),
    (["scan", "list"], 0, [{"sha256": str, "role": str, "store": str, "path": str}]),
    (["history"], 0, [{"id": int, "at": str, "agent": str, "detail": str, "undone_by": (int, NONE),
                       "undoes": (int, NONE)}]),
    (["alike", "changes"], 0, list), (["alike", "undo", "1"], 2, FAULT),
    (["refile"], 0, {"looked": int, "applied": bool, "moves": list}),
    (["store", "move", "main", "{main}"], 0, STORE), (["store", "retire", "copy", "--yes"], 0, {"retired": str}),
    (["demo", "--no-screens"], 2, FAULT),
]
NOT_JSON = {"completion"}   # prints a script, whatever is asked


def mismatches(value: Any, schema: Any, where: str = "$") -> Iterator[str]:
    """Where ``value`` is not as ``schema`` says."""
    if isinstance(schema, tuple):
        tried = [list(mismatches(value, one, where)) for one in schema]
        if all(tried):
            yield from min(tried, key=len)
    elif isinstance(schema, Words):
        if not isinstance(value, dict):
            yield f"{where} is {type(value).__name__}, no table of words"
            return
        for key, one in value.items():
            if not WORD.fullmatch(key):
                yield f"{where} has the key {key!r}, which is no word"
            yield from mismatches(one, schema.of, f"{where}.{key}")
    elif isinstance(schema, dict):
        if not isinstance(value, dict):
            yield f"{where} is {type(value).__name__}, no object"
            return
        yield from (f"{where} lacks {key!r}" for key in schema.keys() - value.keys())
        yield from (f"{where} has {key!r} besides" for key in value.keys() - schema.keys())
        for key in schema.keys() & value.keys():
            yield from mismatches(value[key], schema[key], f"{where}.{key}")
    elif isinstance(schema, list):
        if not isinstance(value, list):
            yield f"{where} is {type(value).__name__}, no list"
            return
        for index, one in enumerate(value):
            yield from mismatches(one, schema[0], f"{where}[{index}]")
    elif type(value) is not schema:
        yield f"{where} is {type(value).__name__}, not {schema.__name__}"


def master(place: Path, seed: int) -> Path:
    """A picture with something to find in it: 420 × 560, 300 ppi."""
    place.parent.mkdir(parents=True, exist_ok=True)
    y, x = np.mgrid[:420, :560]
    waves = np.stack([128 + 60 * np.sin(x / (17 + seed + k)) * np.cos(y / (13 + k)) for k in range(3)], axis=2)
    grain = np.random.default_rng(seed).integers(0, 40, waves.shape)
    tifffile.imwrite(place, (waves + grain).clip(0, 255).astype(np.uint8), photometric="rgb", metadata=None,
                     resolution=(300, 300), resolutionunit=2)
    return place


@pytest.fixture(scope="module")
def outputs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[list[str]], tuple[int, str]]]:
    """The command line over a small archive; pieces are known after ``index``."""
    base = tmp_path_factory.mktemp("outputs")
    places: dict[str, Any] = {key: base / key for key in ("main", "copy", "more", "key", "bag")}
    for key in ("main", "copy", "more", "key"):
        places[key].mkdir()
    places["master"] = master(places["main"] / "Ada Quill" / "Harbour" / "master.tif", 1)
    turned = np.rot90(tifffile.imread(places["master"])[:392, :532])
    tifffile.imwrite(places["main"] / "Ada Quill" / "Harbour" / "again.tif", turned, photometric="rgb", metadata=None)
    master(places["main"] / "Ben Orrery" / "Dunes" / "master.tif", 3)
    (places["main"] / "broken.tif").write_bytes(b"II*\0" + b"\xff" * 40)
    master(places["key"] / "Ada Quill - Pier.tif", 4)
    places["table"] = base / "orders.csv"
    places["table"].write_text("number,date,buyer,artist,piece,size,medium,notes,odd\n"
                               "7,1.2.2020,Ann,Cy Dove,Reeds,20x30,rag,x,y\n8,nonsense,b,c,d,20x30,rag,x,y\n")
    places["digest"] = hashlib.sha256(places["master"].read_bytes()).hexdigest()[:20]
    patch = pytest.MonkeyPatch()
    patch.setenv("NO_COLOR", "1")
    patch.setattr(sys, "stdin", open("/dev/null"))  # noqa: SIM115 - closed with the process

    def call(words: list[str], capture: Any) -> tuple[int, str]:
        if any("{dunes}" in word or "{harbour}" in word for word in words) and "dunes" not in places:
            for name in ("dunes", "harbour"):
                _, found = call(["find", name], capture)
                places[name] = str(json.loads(found)["pieces"][0]["id"])
        filled = [word.format(**places) if "{" in word else word for word in words]
        patch.setattr(sys, "argv", ["catalogue", "--catalogue", str(base / "home"), "--json", *filled])
        with pytest.raises(SystemExit) as ended:
            main()
        return int(ended.value.code or 0), capture.readouterr().out

    yield call
    patch.undo()


def test_every_command_has_its_schema() -> None:
    known = set(leaves(program))   # type: ignore[arg-type]
    asked = {name for words, _, _ in CALLS for name in (words[0], " ".join(words[:2])) if name in known}
    assert asked == known - NOT_JSON


def test_every_output_is_as_promised(
    outputs: Callable[..., tuple[int, str]], capfd: pytest.CaptureFixture[str]
) -> None:
    """In one run, since each call stands on those before it."""
    wrong = []
    for words, code, schema in CALLS:
        ended, text = outputs(words, capfd)
        found = list(mismatches(json.loads(text), schema)) if text else ["nothing was printed"]
        if code is not None and ended != code:
            found.append(f"ended with {ended}, not {code}")
        wrong += [f"{' '.join(words)}: {one}" for one in found]
    assert not wrong, "\n".join(wrong)


def test_a_counter_is_a_table_of_its_words() -> None:
    """``asdict`` makes a Counter of the pairs of a Counter, so that ``index`` printed {"('damaged', 151)": 1}."""
    @dataclass
    class Summary:
        findings: Counter[str]

    assert plain(Summary(Counter(damaged=151))) == {"findings": {"damaged": 151}}


@pytest.mark.parametrize(
    ("value", "schema"),
    [({"('damaged', 1)": 1}, Words(int)), ({"a": 1}, {"a": str}), ({"a": 1, "b": 1}, {"a": int}), ({}, {"a": int}),
     ([1, "x"], [int]), (True, int), (None, str), (1, float)])
def test_the_check_itself_notices(value: Any, schema: Any) -> None:
    assert list(mismatches(value, schema))
