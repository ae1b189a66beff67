"""Finding the recipe of an old print file from its picture and its master's, proving it by making the file again,
and recording it once a person confirms it, so that repeats use it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from hashlib import sha256 as sha256_hash
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from catalogue.errors import Damaged, Refused
from catalogue.fixity.profiles import keep_profile
from catalogue.ledger.health import health, sound_copy
from catalogue.likeness import confirmation, direct, feature_cache
from catalogue.likeness.colour import delta_e
from catalogue.likeness.evidence import DELTA_E_SCALE
from catalogue.likeness.geometry import compose
from catalogue.operations.print_comparison import opened_again
from catalogue.print_files.channels import LABS, black, white
from catalogue.print_files.patches import Patches, ReducedPicture, patches_of_file, patches_of_sheet, reduced_picture
from catalogue.print_files.placement import Placement, find_placement
from catalogue.print_files.recipe import LEAST_PPI, MOST_PPI, Recipe, describe
from catalogue.print_files.recipe_fit import PrintShape, fit_recipe
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records import orders, print_files, scans
from catalogue.records.database import Database, transaction
from catalogue.records.print_files import ConfirmedRecipe
from catalogue.records.rows import now
from catalogue.records.scans import Scan
from catalogue.settings import Home

IS_A_MASTER = "This scan is a master, not a print file."
NO_RESOLUTION = "This file does not say its resolution, so the size of its print is not known."
NO_MASTER_FITS = "This file's picture does not line up with any master of this piece."
LONG_SIDE = 2048            # of the pictures that are laid on each other
LEAST_CORRELATION = 0.9     # of lightness within the picture; other pictures stay below .5
ASTRAY, ASTRAY_ANYWAY = 3.0, 0.001      # of what the best lacks in correlation; tried on one picture alone
SMALL_MEAN, SMALL_LARGEST = 1.0, 5.0   # ΔE00 over patches that nobody sees in a print; common practice, no source


@dataclass(frozen=True, slots=True)
class RecipeProposal:
    """A recipe for an old print file. ``exact``: made by it again, the file has the same pixels; else ``mean``,
    ``high`` (95th percentile) and ``largest`` ΔE00 between them, over patches. ``profile``: that of the recipe.
    """

    scan: Scan
    master: Scan
    file: Path
    recipe: Recipe
    exact: bool
    mean: float
    high: float
    largest: float
    profile: bytes = b""

    @property
    def close(self) -> bool:
        """Whether a print by the recipe would look the same."""
        return self.exact or (self.mean <= SMALL_MEAN and self.largest <= SMALL_LARGEST)


def propose_recipe(db: Database, home: Home, scan: Scan, *, report: Report = ignore_progress,
                   cancelled: Cancelled = never_cancelled) -> RecipeProposal:
    """Find the recipe by which a print file came from a master of its piece. Changes nothing.

    Raises Refused if no recipe makes such a file; CatalogueError if file or master cannot be reached; Damaged; Stopped.
    """
    if scan.role == "master":
        raise Refused(IS_A_MASTER, hint="If it is a print file, correct that first: catalogue scan set.")
    ppi = round(scan.ppi_x or 0)
    if not LEAST_PPI <= ppi <= MOST_PPI:
        raise Refused(NO_RESOLUTION)
    file = sound_copy(health(db, scan))[2]
    candidates = [other for other in scans.of_piece(db, scan.piece_id or 0) if other.role == "master"]
    if not candidates:
        raise Refused("No master of this print file's piece is in the catalogue.",
                      hint="File both under one piece: catalogue scan set.")
    matrices = [(_matrix(home, master, scan), master) for master in candidates]
    print_picture = reduced_picture(file, scan.sha256, LONG_SIDE, report=report, cancelled=cancelled)
    if print_picture.space == "CMYK":
        raise Refused("This file is CMYK: how its colours were separated cannot be told from the picture.",
                      hint="Make a new print file from the order, with --profile: catalogue print.")
    laid: list[tuple[Placement, Scan, ReducedPicture]] = []
    for matrix, master in matrices:
        if matrix is not None:
            picture = reduced_picture(sound_copy(health(db, master))[2], master.sha256, LONG_SIDE, report=report,
                                      cancelled=cancelled)
            placement = find_placement(_light(picture), picture.size, _light(print_picture), print_picture.size, matrix)
            if placement and placement.correlation >= LEAST_CORRELATION:
                laid.append((placement, master, picture))
    if not laid:
        raise Refused(NO_MASTER_FITS,
                      hint="It may have been made from another scan, or rotated by less than a quarter turn.")
    placement, master, picture = _likeliest(laid)
    converted = print_picture.icc if print_picture.icc and print_picture.icc != picture.icc else b""
    plain = Recipe(master.sha256, 1, 1, ppi, bits=8 if print_picture.bits == 8 else 16,
                   profile_sha256=sha256_hash(converted).hexdigest() if converted else "")
    levels = ((print_picture.means.astype(np.uint32) + 128) // 257).astype(np.uint8)
    ordered = [PrintShape(line.width_mm, line.height_mm, line.border_mm, line.wrap_mm)
               for line in orders.lines_of_piece(db, scan.piece_id or 0) if line.status != "cancelled"]
    recipe = fit_recipe(placement, _light(print_picture), levels, print_picture.size, ppi, plain, ordered)
    proposal = RecipeProposal(scan, master, file, recipe, False, 0.0, 0.0, 0.0, converted)
    return _proven(db, home, proposal, report, cancelled)


def _likeliest(laid: Sequence[tuple[Placement, Scan, ReducedPicture]]) -> tuple[Placement, Scan, ReducedPicture]:
    """The one that agrees best; among those that agree about as well the largest: prints are made from large scans, not
    from other print files."""
    astray = ASTRAY * (1 - max(placement.correlation for placement, _, _ in laid)) + ASTRAY_ANYWAY
    return max((each for each in laid if 1 - each[0].correlation <= astray),
               key=lambda each: (each[2].size[0] * each[2].size[1], each[0].correlation))


def _matrix(home: Home, master: Scan, scan: Scan) -> NDArray[np.float64] | None:
    """Places on the master to places on the print file, full pixels, as features or, for soft work, the pixels of
    both previews say; None if they say nothing."""
    try:
        ours, theirs = (feature_cache.features(home, side.sha256) for side in (master, scan))
        fit = confirmation.fit_features(ours, theirs) or direct.align(feature_cache.preview(home, master.sha256),
                                                                      feature_cache.preview(home, scan.sha256))
    except Damaged:
        return None     # a preview is gone
    if fit is None or not master.width or not master.height or not scan.width or not scan.height:
        return None
    half = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5]])      # from centres of pixels to their outer corners
    back = np.array([[1.0, 0.0, -0.5], [0.0, 1.0, -0.5]])
    on_corners = compose(compose(half, fit.matrix), back)
    smaller = np.diag([ours.width / master.width, ours.height / master.height, 1.0])[:2]
    larger = np.diag([scan.width / theirs.width, scan.height / theirs.height, 1.0])[:2]
    return np.asarray(compose(compose(larger, on_corners), smaller), np.float64)


def _light(picture: ReducedPicture) -> NDArray[np.float32]:
    """Lightness between black (0) and white paper (255)."""
    channels = picture.means[..., :1] if picture.space in LABS else picture.means
    paper, black_level = (float(v(picture.space, picture.bits)[0]) for v in (white, black))
    return np.asarray((channels.mean(axis=2) - black_level) / (paper - black_level) * 255, np.float32)


def _proven(db: Database, home: Home, proposal: RecipeProposal, report: Report, cancelled: Cancelled
            ) -> RecipeProposal:
    """The proposal with the result of making the file again."""
    recipe = proposal.recipe
    with opened_again(db, home, recipe, profile=proposal.profile or None, cancelled=cancelled) as sheet:
        again = patches_of_sheet(sheet, report=report, cancelled=cancelled)
    then: Patches | None = patches_of_file(proposal.file, proposal.scan.sha256, report=report, cancelled=cancelled)
    if again is None or then is None:
        raise Refused("The colours of this file are undefined, so it cannot be compared.")
    deltas = delta_e(then.lab, again.lab)
    return replace(proposal, exact=sheet.digest.hexdigest() == proposal.scan.pixel_digest, mean=float(deltas.mean()),
                   high=float(np.percentile(deltas, 95)), largest=float(deltas.max()))


def confirm_recipe(db: Database, home: Home, proposal: RecipeProposal) -> None:
    """Record a proposed recipe as a person confirmed it, and keep the profile that it names."""
    if proposal.profile:
        keep_profile(home, proposal.profile)
    with transaction(db, "recipe of an old print file confirmed"):
        print_files.confirm_recipe(db, ConfirmedRecipe(proposal.scan.sha256, proposal.recipe.to_json(),
                                                       round(proposal.mean, 3), now()))


def summarize(proposal: RecipeProposal) -> list[str]:
    """The recipe, and how the file made by it compares with the old one."""
    lines = [f"recipe: {describe(proposal.recipe)}"]
    if proposal.exact:
        return [*lines, "made again with it, the file has the same pixels"]
    lines.append(f"made again with it, colours differ by ΔE00 {proposal.mean:.2f} on average {DELTA_E_SCALE},"
                 f" {proposal.high:.2f} or less for 95%, {proposal.largest:.2f} at most")
    if not proposal.close:
        lines.append("the old file was also changed in other ways (colours, sharpening, retouching): a new print file"
                     " would look different")
    assumed = [] if proposal.recipe.wrap_mm else ["no wrap where the picture runs to the edge"]
    assumed.append(f"resampling by {proposal.recipe.kernel}")
    if proposal.profile:
        assumed.append(f"{proposal.recipe.intent} conversion")
    return [*lines, f"assumed, since the picture cannot tell: {', '.join(assumed)}"]
