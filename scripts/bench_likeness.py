"""How well likenesses are found, on open pictures with simulated captures whose geometry is known exactly.

    python -m scripts.bench_likeness PACKAGES PLACE [--half fresh] [--photos 300] [--distractors 10000] [--share .2]

PACKAGES holds unpacked packages (see ``likeness_pictures.py`` for which and for their licences), PLACE is a folder for
intermediate files: a run that is cut off carries on there, and a second one is quick. ``--share`` takes the first so
many of the pictures in the order of the SHA-256 of their names. Base pictures were split by name into a tuning and a
held-out half before anything was measured. The held-out half has been looked at so often since that all of them count
as tuning pictures now; the fresh ones come from other packages and were measured after the last threshold was chosen.

For every base picture: a master scan; captured anew (turned, other light, size, colour, at times a wrong profile); a
tile of it; a detail for the web; an edited copy; a phone photo of a framed print; and two that must stay apart: a
sibling of the same series with some passages painted differently, and another colourway. Masters lie among
distractors: crops of the pictures of the other half, turned, mirrored, in other colours.
"""

import argparse
import pickle
import time
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

import cv2
import imagehash
import numpy as np
import numpy.typing as npt
from PIL import Image as Pillow

from catalogue.likeness import geometry, retrieval, shards
from catalogue.likeness import thresholds as limits
from catalogue.likeness.evidence import Evidence, Relation, ScanFacts
from catalogue.likeness.examine import Side, against
from catalogue.likeness.features import VERSION, Features, extract
from catalogue.likeness.photo import PhotoMatch, match_photo, rank_matches
from scripts import likeness_captures as captures
from scripts.likeness_pictures import Base, collect

SIDE = 1600
CROP = 260
TRUE = {"re-scan": Relation.RESCAN, "tile": Relation.TILE, "detail": Relation.DETAIL, "reworked": Relation.REWORKED}
APART = ("series", "colourway")


@dataclass(frozen=True, slots=True)
class Shot:
    """One capture: its preview, features, pHashes, facts and where the artwork lies in the preview."""

    base: str
    group: str
    kind: str
    picture: npt.NDArray[np.uint8]
    features: Features
    hashes: tuple[int, ...]
    facts: ScanFacts
    place: npt.NDArray[np.float64]

    @property
    def side(self) -> Side:
        return Side(self.facts, self.features, lambda: self.picture)


def shot(base: Base, kind: str, made: captures.Capture, full: float, **facts: Any) -> Shot:
    """``full``: full pixels for each pixel of the simulated capture (the base stands for a much larger scan)."""
    small = captures.preview(made)
    h, w = made.picture.shape[:2]
    key = sha256(f"{base.name} {kind}".encode()).hexdigest()
    given = {"bits": 16, "format": "TIFF", "role": "unsorted", **facts}
    count = limits.SIFT_PHOTO if kind == "phone" else limits.SIFT_KEPT
    return Shot(base.name, base.group, kind, small.picture, extract(small.picture, count), hashes(small.picture),
                ScanFacts(key, round(w * full), round(h * full), **given), small.place)


def hashes(picture: npt.NDArray[np.uint8], count: int = 8) -> tuple[int, ...]:
    """imagehash's pHash in up to eight orientations, upright first."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    turned = [np.ascontiguousarray(np.rot90(g, k)) for g in (grey, grey[:, ::-1]) for k in range(4)]
    return tuple(int(str(imagehash.phash(Pillow.fromarray(t))), 16) for t in turned[:count])


def shots(base: Base, other: Base) -> list[Shot]:
    """The master first, then every capture made of the base."""
    rng = np.random.default_rng(int(sha256(base.name.encode()).hexdigest()[:8], 16))
    art, stranger = _reduced(base), _reduced(other)
    seed = int(rng.integers(1 << 30))
    master = captures.scan(art, seed, rng, turn=rng.normal(0, 0.3), strength=0.5)
    x, y = rng.uniform(0, 0.62, 2)
    cut = captures.detail(master.picture, rng)
    web = {"bits": 8, "format": "JPEG"}
    edited = captures.reworked(master, rng)
    return [
        shot(base, "master", master, 8),
        shot(base, "re-scan", captures.rescan(art, seed, rng), 8),
        shot(base, "tile", captures.tile(art, seed, rng, (x, y, 0.38, 0.38)), 8),
        shot(base, "detail", captures.Capture(cut.picture, cut.place @ master.place), 1, **web),
        shot(base, "reworked", edited, 4),
        shot(base, "phone", captures.phone_photo(art, rng), 1, **web),
        shot(
            base,
            "series",
            captures.scan(captures.sibling(art, stranger, rng), seed + 1, rng, turn=rng.normal(0, 0.5)),
            8,
        ),
        shot(
            base, "colourway", captures.scan(captures.recoloured(art, rng), seed + 1, rng, turn=rng.normal(0, 0.5)), 8
        ),
    ]


def _reduced(base: Base) -> npt.NDArray[np.uint8]:
    art = base.load()
    factor = SIDE / max(art.shape[:2])
    return art if factor >= 1 else captures.shrink(art, factor).picture


def cached(place: Path, name: str, make: Any) -> Any:
    """The value of ``make()``, kept in ``place`` under ``name``."""
    path = place / f"{name}.pickle"
    if not path.exists():
        value = make()
        part = path.with_suffix(".part")
        part.write_bytes(pickle.dumps(value))
        part.replace(path)
        return value
    return pickle.loads(path.read_bytes())


def distractors(bases: list[Base], count: int, place: Path) -> Iterator[shards.Entry]:
    """Crops of pictures that are not measured, made into other pictures; in parts, kept between runs."""
    per, parts = 250, -(-count // 250)
    for part in range(parts):
        def make(part: int = part) -> list[shards.Entry]:
            rng = np.random.default_rng(1000 + part)
            made = []
            loaded = [bases[i].load() for i in rng.choice(len(bases), 10, replace=False)]
            for number in range(per):
                art = loaded[number % len(loaded)]
                h, w = art.shape[:2]
                side = int(min(h, w) * rng.uniform(0.25, 0.6))
                x, y = int(rng.integers(0, w - side + 1)), int(rng.integers(0, h - side + 1))
                crop = np.ascontiguousarray(np.rot90(art[y : y + side, x : x + side], int(rng.integers(4))))
                crop = cv2.resize(crop, (CROP, CROP), interpolation=cv2.INTER_AREA)
                crop = np.ascontiguousarray(crop[:, ::-1]) if rng.random() < 0.5 else crop
                crop = captures.toned(crop, rng, 2.0)
                key = sha256(f"distractor {part} {number}".encode()).hexdigest()
                made.append(shards.Entry(key, hashes(crop, 1)[0], extract(crop)))
            return made

        yield from cached(place, f"distractors-{VERSION}-{part}", make)


# --- measuring -----------------------------------------------------------------------------------------


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("packages", type=Path)
    options.add_argument("place", type=Path)
    options.add_argument("--half", choices=("tune", "held-out", "fresh"), default="fresh")
    options.add_argument(
        "--photos", type=int, default=35, help="photographs taken of the half; all of the other groups are"
    )
    options.add_argument("--skip", type=int, default=0, help="photographs passed over; then only photographs are taken")
    options.add_argument("--distractors", type=int, default=10_000)
    options.add_argument("--only", choices=("shots", "distractors"), help="make these and stop")
    options.add_argument("--share", type=float, default=1.0, help="of the pictures, by the digests of their names")
    given = options.parse_args()
    cv2.setNumThreads(1)
    bases = collect(given.packages, given.place / "bases")
    fresh = collect(given.packages, given.place / "fresh", fresh=True) if given.half == "fresh" else None
    half = [b for b in bases if b.half == given.half] if fresh is None else fresh
    photos = sorted((b for b in half if b.group == "photo"), key=_digest)
    chosen = photos[given.skip : given.skip + given.photos]
    if not given.skip:
        chosen = [b for b in half if b.group != "photo"] + chosen
    rest = [b for b in bases if b not in chosen and b.group != "flat"]
    if given.only != "distractors":
        strangers = {b: chosen[(7 * n + 3) % len(chosen)] for n, b in enumerate(chosen)}
        taken = [s for b in sorted(chosen, key=_digest)[:max(1, round(len(chosen) * given.share))] for s in cached(
            given.place, f"shots-{VERSION}-{b.group}-{b.name}", lambda b=b: shots(b, strangers[b]))]
    if given.only != "shots":
        others = list(distractors(rest, given.distractors, given.place))
    if given.only is None:
        report(taken, others, given.place, given.half)


def _digest(base: Base) -> bytes:
    return sha256(base.name.encode()).digest()


@dataclass(frozen=True, slots=True)
class Searched:
    """What the captures of one piece led to: for each kind the rank of its master (99: not among the candidates), what
    was found against each master tried, the masters named for the phone photo; and seconds of processor time."""

    ranks: dict[str, int]
    pairs: list[tuple[str, str, Evidence | None]]
    named: list[PhotoMatch]
    seconds: list[float]
    photo_seconds: float


def search(taken: list[Shot], index: retrieval.Index, masters: dict[str, Shot]) -> Searched:
    """Search for every capture of one piece among all, and examine the masters it leads to."""
    by_key = {m.facts.sha256: m for m in masters.values()}
    ranks, pairs, named, seconds, photo_seconds = {}, [], [], [], 0.0
    for one in taken:
        if one.kind == "master":
            continue
        began = time.process_time()
        order = [c.key for c in index.candidates(one.features, one.hashes, limits.CANDIDATES)]
        near = [by_key[k] for k in order if k in by_key]
        if one.kind == "phone":
            named = rank_matches([s for m in near if (s := match_photo(one.picture, one.features, m.base, m.features,
                                                                       lambda m=m: m.picture))])
            photo_seconds = time.process_time() - began
            continue
        own = masters[one.base]
        if one.kind in TRUE:
            key = own.facts.sha256
            ranks[one.kind] = order.index(key) if key in order[: limits.CANDIDATES] else 99
        if own not in near and one.kind in APART:
            near.append(own)  # the hard negatives are always tried, found or not
        pairs += [(one.kind, m.base, e) for m, e in
                  zip(near, against(one.side, [m.side for m in near]), strict=True)]
        seconds.append(time.process_time() - began)
    return Searched(ranks, pairs, named, seconds, photo_seconds)


def code_digest() -> str:
    """Of the code that finds likenesses: what other code found is not taken over."""
    sources = sorted(Path(retrieval.__file__).parent.glob("*.py"))
    return sha256(b"".join(p.read_bytes() for p in sources)).hexdigest()[:12]


def report(taken: list[Shot], others: list[shards.Entry], place: Path, half: str) -> None:
    """All figures."""
    masters = {s.base: s for s in taken if s.kind == "master"}
    # a grey picture has no other colourway
    taken = [s for s in taken if s.kind != "colourway" or _coloured(masters[s.base])]
    entries = [*others, *(shards.Entry(m.facts.sha256, m.hashes[0], m.features) for m in masters.values())]
    label = f"{code_digest()}-{len(masters)}-{len(others)}"
    folder = place / f"index-{label}"
    index = retrieval.Index(folder)
    for at in range(len(index), len(entries), limits.SEGMENT_MOST):
        index.join([shards.gather_entries(entries[at : at + limits.SEGMENT_MOST])])
    size = sum(p.stat().st_size for p in folder.rglob("*") if p.is_file())
    print(f"{half}: {len(masters)} pieces, {len(taken) - len(masters)} captures, {len(index)} scans in the index, "
          f"{size / len(index):.0f} bytes a scan there (distractors are smaller than masters)")
    shot_of = {(s.base, s.kind): s for s in taken}
    searched: dict[str, Searched] = {
        base: cached(place, f"searched-{label}-{base}",
                     lambda base=base: search([s for s in taken if s.base == base], index, masters))
        for base in masters}
    found = [(shot_of[base, kind], masters[other], e) for base, s in searched.items() for kind, other, e in s.pairs]
    seconds = [one for s in searched.values() for one in s.seconds]
    _retrieval([(shot_of[base, kind], rank) for base, s in searched.items() for kind, rank in s.ranks.items()])
    _relations(taken, found)
    _apart(found)
    _geometry(found)
    _photos(searched, masters)
    _plain(taken, masters)
    began = time.process_time()
    for one in taken[:24]:
        extract(one.picture)
    print(f"Extraction: {(time.process_time() - began) / 24:.2f} s of processor time a scan.")
    print(f"Processor time for one capture against {len(index)}: median {np.median(seconds):.2f} s, "
          f"95 in 100 below {np.percentile(seconds, 95):.2f} s, extraction not counted.")


def _coloured(one: Shot) -> bool:
    return bool(np.abs(one.features.thumb[..., 1:].astype(int) - 128).mean() > 4)


def _retrieval(ranks: list[tuple[Shot, int]]) -> None:
    print("\nTrue master among the first ten")
    for kind in TRUE:
        for group in ("painting", "photo", "flat"):
            some = [(s, r) for s, r in ranks if s.kind == kind and s.group == group]
            if not some:
                continue
            missed = ", ".join(s.base for s, r in some if r >= 10)
            print(
                f"  {kind:9} {group:9} {np.mean([r < 10 for _, r in some]):.3f} of {len(some)}"
                + (f"   missed: {missed}" if missed else "")
            )
    textured = [r < 10 for s, r in ranks if s.group != "flat"]
    print(
        f"  all textured: {np.mean(textured):.3f} of {len(textured)}; "
        f"all: {np.mean([r < 10 for _, r in ranks]):.3f} of {len(ranks)}"
    )


def _relations(taken: list[Shot], found: list[tuple[Shot, Shot, Evidence | None]]) -> None:
    """A pair is found if the scans are said to show one piece; its relation may still be the wrong one."""
    said = {(a.base, a.kind, b.base): e for a, b, e in found}
    print("\nSame piece: precision and recall; and how often the relation's name is right")
    right = wrong = 0
    failures: list[str] = []
    for (base, kind, other), e in said.items():
        if e and e.relation.same_piece:
            if base == other and kind in TRUE:
                right += 1
            else:
                wrong += 1
                failures.append(f"{kind} of {base} searched for {other} ({e.relation.value}, {e.sure})")
    print(
        f"  precision {right / max(1, right + wrong):.4f} ({right} right, {wrong} wrong) of {len(said)} pairs examined"
    )
    for kind, name in TRUE.items():
        for group in ("painting", "photo", "flat"):
            own = [s for s in taken if s.kind == kind and s.group == group]
            if not own:
                continue
            got = [said.get((s.base, kind, s.base)) for s in own]
            hit = [e for e in got if e and e.relation.same_piece]
            named = sum(e.relation is name for e in hit)
            misses = ", ".join(
                f"{s.base} ({e.relation.value if e else 'nothing'})"
                for s, e in zip(own, got, strict=True)
                if not (e and e.relation.same_piece)
            )
            print(
                f"  {kind:9} {group:9} recall {len(hit) / len(own):.3f} of {len(own)}, named rightly {named}/{len(hit)}"
                + (f"   missed: {misses}" if misses else "")
            )
    for name in TRUE.values():
        called = [(a, b) for a, b, e in found if e and e.relation is name]
        good = [a for a, b in called if a.base == b.base and TRUE.get(a.kind) is name]
        print(f"  called {name.value!r}: {len(good)} of {len(called)} are")
    textured = [s for s in taken if s.kind in TRUE and s.group != "flat"]
    hits = [bool((e := said.get((s.base, s.kind, s.base))) and e.relation.same_piece) for s in textured]
    print(f"  recall on textured work: {np.mean(hits):.3f} of {len(hits)}")
    for line in failures:
        print(f"  WRONG: {line}")


def _apart(found: list[tuple[Shot, Shot, Evidence | None]]) -> None:
    print("\nMust stay apart")
    for kind in APART:
        some = [(a, e) for a, b, e in found if a.kind == kind and a.base == b.base]
        bad = [a.base for a, e in some if e and e.relation.same_piece]
        alike = sum(bool(e and e.relation is Relation.LOOK_ALIKE) for _, e in some)
        print(
            f"  {kind:9} kept apart {1 - len(bad) / len(some):.3f} of {len(some)} ({alike} named look-alikes)"
            + (f"   failed: {', '.join(bad)}" if bad else "")
        )


def _geometry(found: list[tuple[Shot, Shot, Evidence | None]]) -> None:
    """Corner errors as shares of the master's width, angles in degrees, of rightly found pairs."""
    print("\nPlace and rotation")
    for kind in TRUE:
        places, turns = [], []
        for a, b, e in found:
            if a.kind != kind or a.base != b.base or not e or not e.relation.same_piece:
                continue
            true = b.place @ np.linalg.inv(a.place)
            spots = geometry.corners((a.picture.shape[1], a.picture.shape[0]))
            away = geometry.apply(e.map, spots) - geometry.apply(true, spots)
            places.append(float(np.linalg.norm(away, axis=1).mean()) / b.picture.shape[1] * 100)
            turns.append(abs((e.rotation - geometry.rotation_of(true[:2]) + 180) % 360 - 180))
        print(f"  {kind:9} corners p50 {np.median(places):.3f} % p95 {np.percentile(places, 95):.3f} % of the width; "
              f"rotation p50 {np.median(turns):.3f}° p95 {np.percentile(turns, 95):.3f}° ({len(places)} pairs)")


def _photos(searched: dict[str, Searched], masters: dict[str, Shot]) -> None:
    print("\nPhone photos of framed prints: the right piece first")
    results: dict[str, list[bool]] = {}
    for base, s in searched.items():
        results.setdefault(masters[base].group, []).append(bool(s.named) and s.named[0].key == base)
    sure = [(match.sure, match.key == base) for base, s in searched.items() for match in s.named]
    seconds = [s.photo_seconds for s in searched.values()]
    for group, hits in results.items():
        print(f"  {group:9} {np.mean(hits):.3f} of {len(hits)}")
    wrong = [s for s, ok in sure if not ok]
    print(
        f"  {len(wrong)} wrong among {len(sure)} named, surest wrong {max(wrong, default=0):.2f}; "
        f"search and fit: median {np.median(seconds):.2f} s, p95 {np.percentile(seconds, 95):.2f} s of processor time"
    )


def _plain(taken: list[Shot], masters: dict[str, Shot]) -> None:
    """imagehash alone on the same captures, at the threshold best for it here."""
    print("\nPlain pHash (imagehash) on the same captures, best threshold by F1")
    for name, count in (("1 orientation", 1), ("8 orientations", 8)):
        best = (0.0, 0, 0.0, 0.0)
        pairs = []
        for s in taken:
            if s.kind in TRUE or s.kind in APART:
                for m in masters.values():
                    away = min((h ^ m.hashes[0]).bit_count() for h in s.hashes[:count])
                    pairs.append((away, s.base == m.base and s.kind in TRUE))
        away, true = np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])
        for limit in range(33):
            hit = away <= limit
            good = int((hit & true).sum())
            if good:
                p, r = good / int(hit.sum()), good / int(true.sum())
                best = max(best, (2 * p * r / (p + r), limit, p, r))
        print(f"  {name}: precision {best[2]:.3f}, recall {best[3]:.3f}, F1 {best[0]:.3f} at {best[1]} bits")


if __name__ == "__main__":
    main()
