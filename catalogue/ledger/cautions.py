"""What a person should check before printing: the scan, the file, the size, the edition."""

from collections.abc import Iterator

from catalogue.dates import shown_day
from catalogue.errors import GONE
from catalogue.ledger.health import next_step, why_no_copy
from catalogue.ledger.proposal import Caution, Proposal
from catalogue.ledger.values import shown_prints, shown_size
from catalogue.reading.notes import NEED_NO_PROFILE
from catalogue.settings import Settings

# Above this median CIEDE2000 two scans would print visibly apart; FADGI's four stars allow 2 on average.
COLOUR_DEPARTS = 2.0
SAME_PICTURE = ("same pixels", "reworked", "re-scan")  # relations of likeness that show the whole work again
CROP_WORTH_SAYING = 0.02
NO_NUMBER = ("edition", "edition closed")   # kinds of caution with which nothing can be recorded but unnumbered prints
UNNUMBERED = "To record a print without a number: catalogue order repeat --unnumbered."


def cautions_for(proposal: Proposal, settings: Settings) -> tuple[Caution, ...]:
    """Every caution a proposal calls for, the grave ones first."""
    cautions = [*_of_last_time(proposal, settings), *_of_file(proposal, settings), *_of_size(proposal),
             *_of_edition(proposal, settings)]
    return tuple(sorted(cautions, key=lambda caution: not caution.grave))


def _of_last_time(proposal: Proposal, settings: Settings) -> Iterator[Caution]:
    last, used, master, evidence = proposal.last, proposal.used, proposal.master, proposal.evidence
    if master is None:
        yield Caution("no master", "No current master is chosen for this piece.",
                      "Choose one on the piece's page, or index the store that holds it.", grave=True)
    if last is None:
        return
    for line in proposal.also:
        yield Caution("several lines", f"Order {line.number} also had "
                      f"{shown_prints(line.quantity, line.width_mm, line.height_mm)}{', ' * bool(line.medium)}"
                      f"{line.medium}.",
                      "Repeat that line too if it is wanted.")
    if not last.scan_sha256:
        name = f" (it names {last.scan_name!r})" if last.scan_name else ""
        yield Caution("unknown scan", f"The scan printed last time is not on record{name}.",
                      "Compare with a print before promising a match.")
        return
    if proposal.same_bytes or master is None:
        return
    if used is None:
        yield Caution("other scan", f"The scan printed last time {GONE}.",
                      "Compare with a print before promising a match.", grave=True)
        return
    added = shown_day(master.scan.first_indexed, settings.dates)
    relation = evidence.text if evidence else "the two have never been compared"
    if proposal.printing is not None and proposal.printing.scan.id == used.scan.id:
        yield Caution("last time's scan", f"Printing from last time's scan; the current master (indexed {added}) is a "
                      f"different one: {relation}.")
        return
    if used.scan.role == "print file":
        yield Caution("print file", "Last time a print file was used, not the master itself.",
                      "Print from it again, or make a new one from the master.")
    agrees = (evidence is not None and evidence.relation in SAME_PICTURE and evidence.verdict != "rejected"
              and evidence.delta_e is not None and evidence.delta_e <= COLOUR_DEPARTS)
    yield Caution("other scan", f"The scan to print from (indexed {added}) is not last time's: {relation}.",
                  "Colour agrees closely." if agrees else
                  "Make a test print, or print from last time's scan.", grave=not agrees)


def _of_file(proposal: Proposal, settings: Settings) -> Iterator[Caution]:
    printing = proposal.printing
    if printing is None:
        return
    if printing.best is None:
        yield Caution("no sound file", why_no_copy(printing), next_step(printing), grave=True)
    elif printing.last_check is None:
        yield Caution("never checked", f"{printing.best.name} has not been checked since it was read on "
                      f"{shown_day(printing.best.file.read_at, settings.dates)}.", "Check it now, before printing.")
    for copy in printing.copies:
        if copy.state == "in doubt":
            yield Caution("copy in doubt", f"{copy.name}: {'; '.join(copy.doubts)}.", "Do not print from this copy.")
    if not printing.scan.profile_digest and printing.scan.photometric not in NEED_NO_PROFILE:
        yield Caution("no profile", "The scan has no colour profile, so its colours are a guess.",
                      "Assign the profile it was scanned with; do not convert blindly.")


def _of_size(proposal: Proposal) -> Iterator[Caution]:
    line, last, fit = proposal.line, proposal.last, proposal.fit
    if last and sorted((last.width_mm, last.height_mm)) != sorted((line.width_mm, line.height_mm)):
        yield Caution("other size", f"Last time it was {shown_size(last.width_mm, last.height_mm)}.")
    if fit is None:
        return
    before = _made_so_before(proposal)
    if not fit.enough:
        yield Caution("low ppi", f"The scan gives {fit.ppi:.0f} ppi at this size{', as last time' * before}; "
                      f"this medium needs {fit.least_ppi}.",
                      f"Looks sharp from {fit.sharp_from_mm / 10:.0f} cm away; a re-scan would be better.",
                      grave=fit.ppi < 0.75 * fit.least_ppi and not before)
    if fit.cropped >= CROP_WORTH_SAYING:
        yield Caution("other shape", f"The print's shape crops {fit.cropped:.0%} of the scan"
                      f"{', as last time' * before}.",
                      "Agree the crop with the artist, or choose a size of the picture's shape.",
                      grave=fit.cropped > 0.1 and not before)


def _made_so_before(proposal: Proposal) -> bool:
    """Whether this scan was printed at this size and finish last time: such cautions are no news now."""
    last, line = proposal.last, proposal.line
    return last is not None and bool(last.scan_sha256) and all(
        getattr(last, name) == getattr(line, name)
        for name in ("scan_sha256", "width_mm", "height_mm", "border_mm", "wrap_mm", "edge"))


def _of_edition(proposal: Proposal, settings: Settings) -> Iterator[Caution]:
    state, line = proposal.edition, proposal.line
    if state is None:
        return
    if state.edition.closed:
        yield Caution("edition closed", f"The edition was closed on {shown_day(state.edition.closed, settings.dates)}.",
                      f"No more numbers can be issued. {UNNUMBERED}", grave=True)
    elif state.numbers_left < line.quantity:
        left, ordered = ("is" if count == 1 else "are" for count in (state.numbers_left, line.quantity))
        yield Caution("edition", f"{state.numbers_left} of {state.edition.size_limit} numbers {left} left; "
                                 f"{line.quantity} {ordered} ordered.",
                      f"The edition size is fixed. {UNNUMBERED}", grave=True)
