"""A small invented shop for the screens: fixed rows, painted previews, two real store folders."""

import asyncio
import io
import threading
import time
from asyncio import wrap_future
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import ExitStack, asynccontextmanager, contextmanager
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

from PIL import Image, ImageDraw
from textual import events as terminal
from textual._context import active_app
from textual.app import App
from textual.message_pump import MessagePump
from textual.pilot import Pilot
from textual.widgets import Input

from catalogue.indexing.stores import add_store
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.reading.model import Picture, Reading
from catalogue.records import editions, events, files, findings, likenesses, orders, pieces, scans
from catalogue.records.database import Database, open_database, transaction
from catalogue.records.numbers import Number
from catalogue.records.stores import listed as stores_held
from catalogue.screens.app import CatalogueApp
from catalogue.screens.background.threads import WorkerThread
from catalogue.settings import Home
from tests import recorded
from tests.waiting import HANG_SECONDS

# Names that have broken screens elsewhere: markup, control signs, direction overrides, width, length.
HOSTILE = "[red]Not markup[/] \x1b[31m\u202etxet\u202c 🫒 אור על המים\n" + "x" * 300
WHOLE = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)     # a map by which one scan lies on another as it is
PIECES = (("Maren Tarnvik", "Harbour, Low Water", "2019", (40, 90, 140)),
          ("Maren Tarnvik", "Harbour, Blue Hour", "2021", (60, 60, 120)),
          ("Tobin Quarrel", "Three Kites", "2020", (200, 120, 60)),
          ("Ézéchiel Brun", "Marché [épreuve]", "", (120, 150, 90)))


def painted(colour: tuple[int, int, int], width: int = 160, height: int = 120) -> bytes:
    """A preview of one colour with a lighter sun, lossless so that it never differs between libraries."""
    picture = Image.new("RGB", (width, height), colour)
    ImageDraw.Draw(picture).ellipse((width * 0.6, height * 0.1, width * 0.8, height * 0.4), fill=(250, 230, 160))
    out = io.BytesIO()
    picture.save(out, "WEBP", lossless=True)
    return out.getvalue()


def sha(number: int) -> str:
    """A stand-in digest."""
    return f"{number:064x}"


def reading(number: int, path: str, preview: bytes | None, width: int = 9000, height: int = 6750) -> Reading:
    picture = Picture(width, height, 16, "uint", 3, "RGB", "none", "strips", ppi_x=600.0, ppi_y=600.0,
                      profile_name="Wide test profile", profile_digest="p")
    return Reading(path, 100 + number, number, sha(number), format="TIFF", picture=picture, preview=preview)


def build(folder: Path) -> Home:
    """The shop: four pieces, nine scans, two stores, five orders, an edition, three findings."""
    home = Home(folder / "home")
    db = open_database(home.database)
    roots = {}
    for name, kind in (("main disk", "primary"), ("share", "copy")):
        roots[name] = folder / name
        roots[name].mkdir(parents=True)
        add_store(db, name, roots[name], kind, consent=True)
    stores = {row.name: row.id for row in stores_held(db)}
    with transaction(db):
        ids = []
        for number, (artist, title, year, colour) in enumerate(PIECES):
            piece = pieces.piece_called(db, pieces.artist_called(db, artist).id, title, year)
            ids.append(piece)
            preview = painted(colour)
            scan = _scan(db, home, roots, stores, number + 1, f"{artist}/{title}/{title} master.tif", preview, "master",
                         piece, both=number != 2)
            pieces.set_current(db, piece, scan, "proposed")
        old = _scan(db, home, roots, stores, 11, "Maren Tarnvik/Harbour, Low Water/old/Harbour 2019 master.tif",
                    painted((70, 90, 120)), "master", ids[0], both=False)
        for tile in range(1, 4):
            _scan(db, home, roots, stores, 20 + tile, f"Maren Tarnvik/Harbour, Low Water/tiles/tile {tile} of 3.tif",
                  None, "tile", ids[0], both=False)
        _orders(db, ids)
        _findings(db, stores, ids, old)
        db.execute("UPDATE scan SET captured = '2024-03-0' || (id % 8 + 1), first_indexed = '2026-01-10T10:00:00.000Z'")
        db.execute("UPDATE file SET checked_at = '2026-01-10T10:00:00.000Z', read_at = '2026-01-10T10:00:00.000Z'")
        db.execute("UPDATE finding SET first_seen = '2026-01-11', last_seen = '2026-01-12'")
    db.close()
    return home


def older_scan_current(home: Home) -> None:
    """Make the first piece's older scan its current master: another than the one printed last time."""
    db = open_database(home.database)
    older = scans.by_digest(db, sha(11))
    assert older is not None
    with transaction(db):
        pieces.set_current(db, 1, older.id, "person")
    db.close()


def _scan(db: Database, home: Home, roots: dict[str, Path], stores: dict[str, int], number: int, path: str,
          preview: bytes | None, role: str, piece: int, *, both: bool) -> int:
    scan = recorded.save_scan(db, reading(number, path, preview), role=role, piece_id=piece)
    for store in ("main disk", "share") if both else ("main disk",):
        place = roots[store] / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(b"x" * (100 + number))
        files.save(db, stores[store], path, 100 + number, number, scan, verified=True)
    if preview is not None:
        kept = home.preview(sha(number))
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(preview)
    return scan


def _orders(db: Database, ids: list[int]) -> None:
    edition = editions.add(db, ids[0], 25, proofs=3)
    rows = (("A-101", "2023-05-02", "Hotel Umberlow", ids[0], 11, 4),
            ("A-102", "2024-02-11", "Ms Colquhane", ids[0], 1, 2),
            ("A-103", "2024-06-30", "Café Lumbrel", ids[2], 3, 1),
            ("A-104", "2025-01-15", "Dr Oakhanger", ids[1], 2, 1),
            ("A-105", "2025-03-20", "Hotel Umberlow", ids[3], 0, 3))
    for number, placed, buyer, piece, scan, quantity in rows:
        order = orders.save(db, number, placed, buyer=buyer, status="printed", currency="EUR")
        line = orders.add_line(db, order, orders.NewLine(
            piece, 600, 450, quantity, "cotton rag 310 g", border_mm=30, scan_sha256=sha(scan) if scan else "",
            scan_name="master.tif", profile="Rag, matte", price="240.00",
            edition_id=edition if piece == ids[0] else None))
        if piece == ids[0]:
            first = len(editions.taken(db, edition, "number")) + 1
            editions.take(db, edition, [Number("number", n) for n in range(first, first + quantity)], line)


def _findings(db: Database, stores: dict[str, int], ids: list[int], old: int) -> None:
    findings.record(db, "truncated", "the file ends at 40 % of its picture", store_id=stores["main disk"],
                    path="Maren Tarnvik/Harbour, Low Water/old/Harbour 2019 master.tif", scan_id=old,
                    file_id=_file_id(db, stores["main disk"], old), hint="Restore it from a copy.")
    findings.record(db, "not a picture", "it begins as text", store_id=stores["main disk"], path="notes.tif",
                    hint="Rename it.")
    findings.record(db, "single copy", "held by one store", scan_id=scans.by_digest(db, sha(3)).id)
    events.append(db, "validation", "success", store="main disk", detail="looked at")


def _file_id(db: Database, store: int, scan: int) -> int:
    return next(f.id for f in files.of_scan(db, scan) if f.store_id == store)


def between(home: Home, *links: tuple[int, int, Relation, float]) -> None:
    """Pairs of the shop's scans, the first lying on the second as it is; tiles each in a place of their own."""
    db = open_database(home.database)
    with transaction(db):
        for at, (one, two, relation, sure) in enumerate(links):
            evidence = Evidence(relation, sure, ("made up for a test",), overlap_a=1.0,
                                overlap_b=0.04 if relation.partial else 1.0, size_a=(160, 120), size_b=(160, 120),
                                matrix=(0.2, 0.0, 40.0 * at, 0.0, 0.2, 0.0) if relation.partial else WHOLE)
            a, b = (scans.by_digest(db, sha(n)) for n in (one, two))
            assert a and b
            likenesses.keep(db, a.id, b.id, relation.value, sure, evidence.to_json())
    db.close()


@asynccontextmanager
async def running(home: Home, size: tuple[int, int] = (120, 40), place: str = "browse", *,
                  ahead: bool = False) -> AsyncIterator[Pilot[None]]:
    """The app at one of its places, its first lists filled."""
    app = CatalogueApp(home, colours=True, ahead=ahead)
    _record_notifications(app)
    async with app.run_test(size=size) as pilot:
        if home.database.exists():
            await until(pilot, lambda: app.current_mode == "browse" and listed(app, "#artists"))
            if place != "browse":
                await app.action_show_page(place)
        await settled(pilot)
        yield pilot
    app.close_threads()
    if app.work is not None:
        app.work.stop()
        assert app.work.wait(HANG_SECONDS)


def listed(app: CatalogueApp, selector: str) -> bool:
    found = app.screen.query(selector)
    return bool(found) and bool(getattr(found.first(), "row_count", 0))


async def until(pilot: Pilot[None], met: Callable[[], Any], seconds: float = HANG_SECONDS) -> None:
    """Wait for a condition, never for a time; the deadline only ends a hang."""
    end = time.monotonic() + seconds
    while not met():
        assert time.monotonic() < end, "what was waited for did not come"
        await asyncio.sleep(0.002)
    await handled(pilot.app)


async def settled(pilot: Pilot[None]) -> None:
    """Until nobody works: questions answered, pictures drawn, all of it shown."""
    await handled(pilot.app)
    while works(pilot.app):
        await until(pilot, lambda: not works(pilot.app))


def works(app: App[Any]) -> bool:
    """Whether a key waits or is on its way, or something is asked, written or drawn off the screen's thread."""
    gate = getattr(app, "gate", None)
    return (gate is not None and not gate.idle) or any(not worker.is_finished for worker in app.workers)


async def handled(app: App[Any]) -> bool:
    """Until every message in the present screen is handled, and it is laid out and drawn. Who works may work on.

    Also in place of ``Pilot._wait_for_screen``, which has every widget handle a message more to know that it is idle.
    """
    end, quiet, busy = time.monotonic() + HANG_SECONDS, 0, 0
    while app.is_running and app.screen_stack and not app._exception:
        screen = app.screen
        if not all(awaits_message(node) for node in (app, *screen.walk_children(with_self=True))):
            assert time.monotonic() < end, "a widget never came to the end of its messages"
            quiet, busy = 0, busy + 1
        elif screen._layout_required or screen._repaint_required or screen._scroll_required \
                or screen._dirty_widgets or screen._callbacks:
            screen._on_timer_update()   # what is due within a sixtieth of a second
            quiet, busy = 0, busy + 1
        else:
            quiet += 1
            if quiet == 3:
                break   # nothing may come between the last look and what the test looks at
        await asyncio.sleep(0.001 if busy % 50 == 49 else 0)    # a handler may itself wait for a thread
    return True


def awaits_message(node: MessagePump) -> bool:
    """Whether all messages of a widget are handled: it waits for the next one, or takes none any more."""
    queue = node._message_queue
    return node._closing or node._closed or (
        queue.empty() and not node._next_callbacks and not node._pending_message and bool(queue.ready_event._waiters))


async def idle(*_: float) -> None:
    """In place of Textual's ``wait_for_idle``, which waits until the processor has little to do: until all is handled
    and nobody works, or only who waits for a thread that a test holds up."""
    app = active_app.get()
    end = time.monotonic() + 1.0    # a test may hold up what is no thread of the app
    await handled(app)
    while works(app) and time.monotonic() < end:
        if isinstance(app, CatalogueApp) and any(thread in _held for thread in threads_of(app)):
            for _ in range(2):      # an answer may ask for more
                for thread in threads_of(app):
                    if thread not in _held:
                        await wrap_future(thread.submit(lambda _: None))
                await handled(app)
            return
        await asyncio.sleep(0.002)
        await handled(app)


_held: set[WorkerThread[Any]] = set()


def threads_of(app: CatalogueApp) -> list[WorkerThread[Any]]:
    return [*app.threads._begun.values(), *app.plain_threads._begun.values()]


@contextmanager
def known_as_held(thread: WorkerThread[Any]) -> Iterator[None]:
    """While a test holds up this thread, no key is waited for that waits for it."""
    assert thread not in _held
    _held.add(thread)
    try:
        yield
    finally:
        _held.discard(thread)


@contextmanager
def held_up(app: CatalogueApp, *lanes: str) -> Iterator[None]:
    """Threads busy meanwhile, as with a large catalogue or a slow disk; the reading one if none is named."""
    go = threading.Event()
    with ExitStack() as stack:
        for lane in lanes or ("read",):
            app.threads[lane].submit(lambda _: go.wait(HANG_SECONDS))
            stack.enter_context(known_as_held(app.threads[lane]))
        try:
            yield
        finally:
            go.set()


async def burst(pilot: Pilot[None], *keys: str) -> None:
    """Press keys all at once, as fast as a terminal can send them; waits for none to be answered."""
    app = pilot.app
    assert isinstance(app, CatalogueApp)
    for key in keys:
        character = {"space": " "}.get(key, key[-1] if len(key) == 1 or key.startswith("alt+") else None)
        event = terminal.Key(key, character)
        event.set_sender(app)
        app.post_message(event)
    await until(pilot, lambda: app.gate.idle or app.gate.waits)


async def typed(pilot: Pilot[None], text: str) -> None:
    """Type into the search, all at once: Pilot waits long for every single key."""
    pilot.app.screen.query_one("#words", Input).value = text
    await settled(pilot)


async def fill_in(pilot: Pilot[None], **texts: str) -> None:
    """Put texts into fields of the form that is open, one after the other."""
    for name, text in texts.items():
        field = pilot.app.screen.query_one(f"#form-{name}", Input)
        field.focus()
        field.value = text
        await settled(pilot)


_told: WeakKeyDictionary[App[Any], list[str]] = WeakKeyDictionary()


def _record_notifications(app: App[Any]) -> None:
    """Note what is told: the app itself forgets it after some seconds, which a busy machine may need to look."""
    notify, clear = app.notify, app.clear_notifications
    told = _told[app] = list[str]()

    def noted(message: str, **options: Any) -> None:
        told.append(message)
        notify(message, **options)

    def cleared() -> None:
        told.clear()
        clear()

    app.notify, app.clear_notifications = noted, cleared  # type: ignore[method-assign, assignment]


def said(pilot: Pilot[None]) -> list[str]:
    """What was told at the edge of the screen, since it was cleared last."""
    return _told[pilot.app]


def words(pilot: Pilot[None]) -> str:
    """Everything on the screen, as text."""
    strips = pilot.app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip) for strip in strips)


def piece_never_ordered(home: Home) -> int:
    """A new piece of the first artist, without scans and orders."""
    db = open_database(home.database)
    with transaction(db):
        piece_id = pieces.piece_called(db, 1, "Never Ordered")
    db.close()
    return piece_id
