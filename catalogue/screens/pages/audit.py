"""Audit: what is wrong, by kind, and one key for the next step; and starting a check."""

from collections.abc import Iterable
from functools import partial

from textual.containers import Container, Horizontal, Vertical
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from catalogue.fixity.advice import OpenFinding, damage_of, next_step
from catalogue.fixity.copies import ALL_ON_ONE_DISK, all_on_one_disk
from catalogue.operations.findings import Accepted, accept_finding, summarize
from catalogue.records import scans, upkeep_lists
from catalogue.records.database import Database
from catalogue.records.finding_kinds import DAMAGE_KINDS
from catalogue.records.paths import display_path
from catalogue.records.scans import Scan
from catalogue.records.upkeep_lists import FindingItem, KindCount
from catalogue.screens.actions import opening
from catalogue.screens.background.jobs import notice, start_copy, start_index, start_restore
from catalogue.screens.dialogs.audit import AuditDialog
from catalogue.screens.dialogs.confirm import MessageDialog, ReasonDialog, confirm
from catalogue.screens.page import Page
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.texts.formats import BAD, DOUBT, ago, day, file_name, line, lines, safe
from catalogue.screens.widgets.paged_table import PagedTable, Source
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable

ALL = KindCount("everything", 0)


class AuditPage(Page):
    """Kinds of finding, the findings, and the one under the cursor with its next step."""

    KEY_CONTEXT = "audit"
    MODE = "audit"
    LIST = "findings"

    def __init__(self) -> None:
        super().__init__()
        self._open: OpenFinding | None = None
        self._listed = ""   # the kind whose findings are listed
        self._audits: list[tuple[str, str]] = []
        self._one_disk = False
        self._kinds = RowTable[KindCount](
            [Column("Kind", 0, lambda row: (f"{'✗ ' if row.kind in DAMAGE_KINDS else ''}{row.kind}",
                                            "italic" if row is ALL else "")),
             Column("", 5, lambda row: row.count or "", right=True)],
            lambda row: row.kind, id="kinds")
        self._findings = PagedTable[FindingItem](
            [Column("", 1, lambda row: "✗" if row.is_damage else ""),
             Column("Kind", 14, lambda row: row.kind, least=90),
             Column("File", 0, lambda row: file_name(row.path) if row.path else row.detail),
             Column("Store", 14, lambda row: row.store or "–"),
             Column("Since", 11, lambda row: day(row.first_seen, self.app.day_form), least=64)],
            lambda row: row.id, id="findings")
        self._about_audits = Static("", id="audits", markup=False)
        self._words = Static("", id="finding-words", markup=False)
        self._picture = Picture(id="finding-picture")

    def body(self) -> Iterable[Widget]:
        yield Container(
            Vertical(self._kinds, self._about_audits, id="audit-left"),
            Vertical(self._findings, Horizontal(self._words, self._picture, id="finding"), id="audit-right"),
            id="audit")

    def load(self, *, keep: bool = False) -> None:
        def show(counts: tuple[list[KindCount], list[tuple[str, str]]]) -> None:
            kinds, self._audits = counts
            self._kinds.set_title("Findings", sum(kind.count for kind in kinds))
            self._kinds.show_rows([ALL, *kinds], keep=keep)
            self._show_audits()

        def show_disks(one_disk: bool) -> None:
            self._one_disk = one_disk
            self._show_audits()

        settings = self.app.home.settings
        self.ask(lambda db: (upkeep_lists.kinds(db), upkeep_lists.last_audits(db)), show, group="kinds",
                 holds=self._kinds)
        self.ask(lambda db: all_on_one_disk(db, settings), show_disks, group="one disk")

    def _show_audits(self) -> None:
        paragraphs = [line(f"{name}: ", (ago(at), "$quiet")) for name, at in self._audits]
        warning = [line(("! ", "bold $warning"), f"{ALL_ON_ONE_DISK}. Next: 6, then a, to add another disk")]
        self._about_audits.update(
            lines([*(warning if self._one_disk else []), line(("Last audits", "bold")), *paragraphs]))

    def _load_findings(self, *, keep: bool = False) -> None:
        kind = self._kinds.highlighted
        chosen = kind.kind if kind is not None and kind is not ALL else ""
        self._listed = kind.kind if kind is not None else ""
        self._findings.set_title(chosen or "All findings")
        self._findings.show(Source(lambda db, beyond, limit, forward: upkeep_lists.findings(
            db, chosen, beyond, limit, forward=forward)), keep=keep)

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        if event.table is self._kinds:
            self._load_findings(keep=event.row is not None and event.row.kind == self._listed)
            return
        row = event.row
        if row is None:
            self._show_none(line(("✓ ", "$success"), "No problems found here."))
            return

        day_form = self.app.day_form

        def gather(db: Database) -> tuple[OpenFinding, Scan | None] | None:
            finding = upkeep_lists.finding(db, row.id)
            if finding is None:
                return None
            scan = scans.by_id(db, finding.scan_id) if finding.scan_id else None
            step, damage = next_step(db, finding, day_form), damage_of(db, finding.file_id)
            return OpenFinding(finding, row.store, step, damage), scan

        self.ask(gather, self._show_finding, group="finding", holds=self._words)

    def _show_none(self, words: Content | str) -> None:
        self._open = None
        self._words.update(words)
        self._picture.show(None, "")

    def _show_finding(self, shown: tuple[OpenFinding, Scan | None] | None) -> None:
        if shown is None:
            self._show_none("This finding has been closed in the meantime.")
            return
        self._open, scan = shown
        self._words.update(finding_words(self._open, self.app.day_form))
        damage = self._open.damage
        marks = tuple((r.left, r.top, r.right, r.bottom) for r in damage.regions) if damage else ()
        self._picture.show(self.app.preview(scan.sha256) if scan and scan.has_preview else None, "",
                           (scan.width, scan.height) if scan else None, marks)

    @property
    def _selected(self) -> OpenFinding | None:
        """The finding under the cursor, once all its details are shown."""
        row = self._findings.row_to_act_on
        opened = self._open
        return opened if row is not None and opened is not None and opened.finding.id == row.id else None

    def action_pane_right(self) -> None:
        self._findings.focus()

    def action_pane_left(self) -> None:
        self._kinds.focus()

    def action_audit(self) -> None:
        self.app.push_screen(AuditDialog([]))

    def action_piece(self) -> None:
        finding = self._selected
        scan_id = finding.finding.scan_id if finding else None
        if scan_id is None:
            self.app.say("This finding belongs to no piece.", "warning")
            return

        def show(scan: Scan | None) -> None:
            if scan is not None and scan.piece_id is not None:
                opening.open_piece(self.app, scan.piece_id)
            else:
                self.app.say("This scan has no piece yet.", "warning")

        self.ask(partial(scans.by_id, scan_id=scan_id), show, group="piece", holds=self.app)

    def action_accept(self) -> None:
        finding = self._selected
        if finding is None:
            return
        row = self._findings.row_to_act_on

        def closed(done: Accepted) -> None:
            self.app.say(notice(summarize(done)))
            if row is not None:
                self._findings.expect_removal(row)
            self.app.changed()

        def answered(why: str | None) -> None:
            if why:
                home = self.app.home
                self.record(f"close “{finding.finding.kind}”",
                            lambda db: accept_finding(db, home, finding.finding.id, why), closed)

        self.app.push_screen(ReasonDialog(f"Close “{finding.finding.kind}” without a fix? Give a reason",
                                          "The reason goes into the log."), answered)

    def action_next_step(self) -> None:
        """Restore, copy or index after a yes; otherwise say what to do."""
        if self._kinds.has_focus:
            self.action_pane_right()
            return
        finding = self._selected
        if finding is None:
            self.app.say("No finding selected.")
            return
        step, path = finding.next, safe(display_path(finding.finding.path))
        if step.action == "restore" and (file_id := step.file_id) is not None:
            confirm(self.app, f"Restore it from {safe(step.source)}?",
                    f"{path}\n\n{step.text}\nThe copy is read back and compared before it replaces the file; the "
                    "present file is kept under another name.",
                    lambda: start_restore(self.app, file_id, step.source, step.sha256), yes="Restore", careful=True)
        elif step.action == "copy" and step.target:
            confirm(self.app, f"Copy what {safe(step.target)} lacks?",
                    f"Scans of {safe(step.source or 'the primary stores')} that it does not hold are copied there, "
                    "each read back and compared. Nothing there is overwritten.",
                    lambda: start_copy(self.app, step.target, step.source), yes="Copy")
        elif step.action == "index" and finding.store:
            confirm(self.app, f"Index {safe(finding.store)}?", step.text,
                    lambda: start_index(self.app, [finding.store]), yes="Index")
        else:
            self.app.push_screen(MessageDialog("What to do next", step.text, step.command))


def finding_words(opened: OpenFinding, day_form: str) -> Content:
    """A finding, the next step, where it is, since when, and where the damage lies."""
    finding = opened.finding
    sign, style = BAD if finding.kind in DAMAGE_KINDS else DOUBT
    parts = [line((f"{sign} ", f"bold {style}"), (finding.kind, "bold")),
            line(("Next  ", "bold $accent"), opened.next.text)]   # first: it must be seen on a small screen
    if finding.path:
        parts.append(line(": ".join(filter(None, (opened.store, display_path(finding.path))))))
    parts.append(line(finding.detail))
    if finding.hint and finding.hint != opened.next.text:
        parts.append(line((finding.hint, "$quiet")))
    parts.append(line((f"since {day(finding.first_seen, day_form)}, last seen {day(finding.last_seen, day_form)}",
                      "$quiet")))
    if opened.damage is not None:
        if opened.damage.regions:
            parts.append(line(("▢ ", "bold"), f"marked on the picture: {opened.damage.share:.1%} of it at most"))
        elif opened.damage.outside_picture:
            parts.append(line(("▢ ", "bold"), "outside the picture: tags, profile, thumbnail or further pages"))
    return lines(parts)
