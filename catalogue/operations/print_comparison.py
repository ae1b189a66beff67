"""Comparing a new print file with the one on record: bit for bit, or what differs and by how much."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from catalogue.dates import shown_day
from catalogue.errors import CatalogueError
from catalogue.fixity.profiles import read_profile_file
from catalogue.ledger.health import health, sound_copy
from catalogue.likeness.colour import delta_e
from catalogue.likeness.evidence import DELTA_E_SCALE
from catalogue.print_files.patches import Patches, patches_of_file, patches_of_sheet
from catalogue.print_files.recipe import Recipe, differences, from_json
from catalogue.print_files.render import Made, Sheet, opened_sheet
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records import scans
from catalogue.records.database import Database
from catalogue.records.paths import native_path
from catalogue.records.print_files import PrintFile
from catalogue.settings import Home

WORDS = {"width_mm": "width", "height_mm": "height", "border_mm": "border", "wrap_mm": "wrap", "bleed_mm": "bleed",
         "stretch_mm": "stretched strip", "edge_colour": "colour of the edge", "profile_sha256": "profile",
         "black_point": "black point compensation", "kernel": "resampling", "sharpen": "sharpening"}


@dataclass(frozen=True, slots=True)
class Comparison:
    """A print file beside last time's. ``delta_e``: largest and mean ΔE00 over patches of ``patch`` pixels; where it
    cannot be had ``unknown`` says why."""

    then: PrintFile
    same_bytes: bool
    same_pixels: bool
    recipe: dict[str, tuple[object, object]]
    versions: dict[str, tuple[object, object]]
    delta_e: tuple[float, float] | None = None
    patch: float = 0.0
    unknown: str = ""


def kept_profile(home: Home, digest: str) -> bytes:
    """A profile used before, from the folder beside the catalogue."""
    if not digest:
        return b""
    path = home.profiles / f"{digest}.icc"
    data = read_profile_file(path)
    if data is None:
        raise CatalogueError("The profile of the last print file is missing or damaged.", path=path,
                             hint=f"Put it back from profiles in a folder of backups, or give it with --profile: its"
                                  f" SHA-256 is {digest}. The last print file embeds it.")
    return data


def sound_master(db: Database, recipe: Recipe) -> Path:
    """The location of a sound copy of a recipe's master. Raises CatalogueError if none can be reached."""
    scan = scans.by_digest(db, recipe.master_sha256)
    return sound_copy(health(db, scan) if scan else None)[2]


@contextmanager
def opened_again(db: Database, home: Home, recipe: Recipe, *, profile: bytes | None = None,
                 cancelled: Cancelled = never_cancelled) -> Iterator[Sheet]:
    """The rows that a recipe on record gives now, from a sound copy of its master.

    ``profile``: that of the recipe, where it is not one that is kept. Raises CatalogueError: no such copy, or the
    profile, can be reached; as :func:`opened_sheet`.
    """
    icc = kept_profile(home, recipe.profile_sha256) if profile is None else profile
    with opened_sheet(sound_master(db, recipe), recipe, home.folder / "print", profile=icc,
                      cancelled=cancelled) as sheet:
        yield sheet


def compare_with(db: Database, home: Home, made: Made, then: PrintFile, *, report: Report = ignore_progress,
                 cancelled: Cancelled = never_cancelled) -> Comparison:
    """Compare a print file just made with one on record. Raises Stopped."""
    before = from_json(then.recipe)
    old, new = json.loads(then.versions), json.loads(made.versions)
    libraries = {name: (old.get(name), new.get(name)) for name in sorted({*old, *new})
                 if old.get(name) != new.get(name)}
    comparison = Comparison(then, then.sha256 == made.sha256, then.pixel_digest == made.pixel_digest,
                       differences(before, made.recipe), libraries)
    if comparison.same_pixels:
        return comparison
    if (then.width, then.height) != (made.width, made.height):
        return replace(comparison, unknown="the two files differ in width or height")
    then_patches = _patches_then(db, home, then, before, comparison, report, cancelled)
    now_patches = patches_of_file(made.path, made.sha256, report=report, cancelled=cancelled)
    if then_patches is None or now_patches is None:
        return replace(comparison, unknown="the last file is no longer where it was put, and cannot be made again here")
    depart = delta_e(then_patches.lab, now_patches.lab)
    return replace(comparison, delta_e=(float(depart.max()), float(depart.mean())), patch=max(1.0, now_patches.side))


def _patches_then(db: Database, home: Home, then: PrintFile, recipe: Recipe, comparison: Comparison, report: Report,
                  cancelled: Cancelled) -> Patches | None:
    """Last time's colours: from the file if it still is there, else made again where only master or recipe are other
    ones, for what other versions of the libraries made cannot be made here."""
    path = Path("/", native_path(then.folder[1:]), native_path(then.name))
    if (seen := patches_of_file(path, then.sha256, report=report, cancelled=cancelled)) is not None:
        return seen
    if comparison.versions:
        return None
    try:
        with opened_again(db, home, recipe, cancelled=cancelled) as sheet:
            return patches_of_sheet(sheet, report=report, cancelled=cancelled)
    except CatalogueError:
        return None


def describe_comparison(comparison: Comparison, dates: str) -> list[str]:
    """How a print file compares with last time's, in words."""
    day = shown_day(comparison.then.made, dates)
    if comparison.same_bytes:
        return [f"the same file as on {day}, bit for bit"]
    reasons = [f"{WORDS.get(name, name)} {_shown_value(then)} then, {_shown_value(new)} now"
            for name, (then, new) in comparison.recipe.items() if name != "master_sha256"]
    if "master_sha256" in comparison.recipe:
        then, new = comparison.recipe["master_sha256"]
        reasons.insert(0, f"another master: {str(then)[:12]}… then, {str(new)[:12]}… now")
    reasons += [f"{name} {then or 'not used'} then, {new or 'not used'} now"
             for name, (then, new) in comparison.versions.items()]
    why = "; ".join(reasons) or "neither recipe nor versions differ: make it again, and have this machine checked"
    if comparison.same_pixels:
        return [f"the same pixels as on {day}; the file differs: {why}"]
    lines = [f"not the same as on {day}: {why}"]
    if comparison.delta_e is not None:
        largest, mean = comparison.delta_e
        lines.append(f"colour difference then and now: ΔE00 at most {largest:.2f}, mean {mean:.2f} {DELTA_E_SCALE},"
                     f" over patches of {comparison.patch:.0f} px")
    else:
        lines.append(f"the colours cannot be compared: {comparison.unknown}")
    return lines


def _shown_value(value: object) -> str:
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, tuple) and len(value) == 3:
        return "radius {:g} px, amount {:g}%, threshold {:g}".format(*value)
    if isinstance(value, float):
        return f"{value:g} mm"
    text = "none" if value in ("", None) else str(value)
    return f"{text[:12]}…" if len(text) == 64 else text     # a digest
