"""The table of all keys, from which bindings, key line, help and palette are made."""

from collections.abc import Iterable
from dataclasses import dataclass

from textual.binding import Binding, BindingType


@dataclass(frozen=True, slots=True)
class Key:
    """One action and its keys. ``keys`` as Textual names them, comma-separated, the one shown first."""

    keys: str
    action: str
    label: str          # a word or two, for the key line and the palette
    help: str           # a sentence, for the help
    rank: int = 0       # position on the key line, 1 first; 0: in the help and the palette only

    @property
    def shown(self) -> str:
        """The first key, as displayed."""
        first = self.keys.split(",")[0]
        return SIGNS.get(first, first.replace("ctrl+", "^"))


SIGNS = {"enter": "⏎", "escape": "Esc", "slash": "/", "question_mark": "?", "tab": "Tab", "left": "←", "right": "→",
         "up": "↑", "down": "↓", "space": "Space", "colon": ":", "comma": ",", "full_stop": ".", "backspace": "⌫",
         "plus": "+", "minus": "-", "delete": "Del", "f2": "F2",
         "home": "Home", "end": "End", "pagedown": "PgDn", "pageup": "PgUp"}

# The pages, in the order of their digits: mode, title.
PAGE_TITLES = (("browse", "Browse"), ("orders", "Orders"), ("alike", "Alike"), ("audit", "Audit"), ("intake", "Intake"),
               ("stores", "Stores"), ("health", "Health"))

LISTS = (
    Key("down,j", "cursor_down", "down", "Next row."),
    Key("up,k", "cursor_up", "up", "Previous row."),
    Key("pagedown", "page_down", "page down", "One page down."),
    Key("pageup", "page_up", "page up", "One page up."),
    Key("home", "scroll_top", "first", "First row of the whole list."),
    Key("end", "scroll_bottom", "last", "Last row of the whole list."),
)

EVERYWHERE = (
    Key("slash", "app.search", "search", "Search artists, titles, file names and orders as you type.", 90),
    Key("question_mark", "app.help", "help", "Show the keys.", 99),
    Key("ctrl+p,colon", "app.command_palette", "actions", "Find any action by name."),
    *(Key(str(number), f"app.show_page('{mode}')", title, f"Go to {title}.")
      for number, (mode, title) in enumerate(PAGE_TITLES, 1)),
    Key("x", "app.stop_work", "stop work", "Stop what is running; what is done is kept."),
    Key("t", "app.turn_light", "light or dark", "Switch between the dark and the light theme."),
    Key("tab", "app.focus_next", "next part", "Go to the next part of the screen; with Shift, the previous one."),
    Key("ctrl+z", "app.suspend_process", "suspend", "Suspend the screens; the shell's fg brings them back."),
    Key("q,ctrl+q", "app.leave", "quit", "Quit."),
)

SCAN_KEYS = (
    Key("c", "copy_path", "path", "Show the file's full path and copy it to the clipboard.", 3),
    Key("o", "open_file", "view", "Open the file in the system's viewer, or in the program set in settings.toml.", 4),
    Key("f", "reveal", "folder", "Open the folder that holds the file.", 94),
)

SHEET_KEYS = (
    Key("o", "open_page", "open", "Open the page in the system's viewer.", 1),
    Key("p", "print_page", "print", "Print the page on the default printer.", 2),
    Key("s", "save_pdf", "save as PDF", "Save the page as PDF beside it.", 3),
    Key("c", "copy_path", "path", "Copy the page's path to the clipboard.", 5),
    Key("escape,q", "back", "close", "Close the panel; the page stays where it is.", 6),
)
UNDO = Key("u", "undo", "undo", "Undo the last correction.", 93)

KEYS: dict[str, tuple[Key, ...]] = {
    "browse": (
        Key("enter", "open", "open", "Open the piece, or go from the artist to the pieces.", 1),
        Key("r", "repeat", "repeat", "Repeat the piece's last order.", 2),
        Key("e,f2", "edit", "edit", "Correct the artist or the piece under the cursor, or all marked pieces.", 3),
        Key("space", "mark", "mark", "Mark or unmark the piece, to act on several at once.", 91),
        Key("m", "merge", "merge", "Merge the marked piece with this one.", 92),
        UNDO,
        Key("n", "new_piece", "new piece", "Add a piece that has no scan yet.", 93),
        Key("S", "statement", "statement", "Write a statement to the artist for a period.", 94),
        Key("right,l", "pane_right", "pieces", "Go to the pieces."),
        Key("left,h", "pane_left", "artists", "Go back to the artists."),
        *SCAN_KEYS,
    ),
    "piece": (
        Key("r", "repeat", "repeat", "Repeat this order line, or the last one.", 1),
        Key("escape,backspace", "back", "back", "Go back.", 2),
        Key("e,f2", "edit", "edit", "Correct role and piece of the scan under the cursor, or of all marked scans.", 2),
        Key("m", "make_current", "make current", "Make this scan the piece's current master.", 3),
        *SCAN_KEYS,
        Key("E", "edit_piece", "edit piece", "Correct artist, title, year and what else is known of the piece.", 5),
        Key("space", "mark", "mark", "Mark or unmark the scan, to act on several at once.", 91),
        UNDO,
        Key("R", "recipe", "recipe", "Find how this print file was made from its master, for repeats.", 95),
        Key("n", "new_edition", "new edition", "Add an edition of the piece, for all sizes or for one.", 92),
        Key("w", "numbers", "numbers", "List where each numbered print of an edition is.", 93),
        Key("p", "plan", "plan", "How to capture the original in tiles on the bed.", 94),
    ),
    "orders": (
        Key("enter", "open", "open piece", "Open the piece of the line.", 1),
        Key("r", "repeat", "repeat", "Repeat the line.", 2),
        Key("p", "sheet", "job sheet", "Write the line's job sheet into a job folder.", 3),
        Key("P", "sheet_and_copy", "sheet and copy", "Job sheet, and a verified copy of the scan beside it."),
        Key("w", "print_file", "print file", "Write the print file of the line, or of the marked lines.", 9),
        Key("f", "filter", "filter", "Show only lines that match: a month, artist, buyer, state or medium.", 4),
        Key("e,f2", "edit", "edit", "Correct the line, from state and size to price and date; what marked lines "
            "have in common, at once.", 5),
        Key("m", "move_on", "move on", "Move the order or orders on: approved, printed, collected.", 6),
        Key("h", "hand_over", "hand over", "Record prints that were handed over: some of a line, or all that are left "
            "of the marked lines.", 7),
        Key("c", "cancel_lines", "cancel line", "Cancel the line, or the marked lines; the order's others stay.", 92),
        Key("space", "mark", "mark", "Mark or unmark the line, to act on several at once.", 7),
        UNDO,
        Key("s", "sort", "sort", "Sort by the next column.", 8),
        Key("S", "reverse", "reverse", "Reverse the sort order."),
        Key("b", "buyers", "buyers", "Buyers: contact, notes, orders; merge two spellings.", 93),
        Key("escape", "leave_filter", "leave filter", "From the filter to the list; from the list, show every line.",
            10),
    ),
    "alike": (
        Key("c", "confirm", "same piece", "Confirm that they show one piece, and file them all under it.", 1),
        Key("r", "reject", "not the same", "Reject: the pair is not shown again.", 2),
        Key("u", "undo", "undo", "Undo the last verdict of this session, and what was filed with it.", 3),
        Key("enter", "open", "open/close", "Open or close the group; on a pair, open its piece.", 4),
        Key("space", "next_view", "view", "Side by side, blink, difference, or where one is on the other.", 5),
        Key("b", "view(1)", "blink", "Show the two in turn, in the same place."),
        Key("d", "view(2)", "difference", "Differences, four times amplified; grey means none."),
        Key("w", "view(3)", "where", "Where the first is on the second."),
        Key("p", "piece", "piece", "Open the piece.", 7),
        Key("a", "all", "all", "Show all groups and pairs, or only those to judge.", 8),
        Key("i", "compare", "compare", "Compare new scans with all others.", 9),
        Key("escape", "close_group", "close group", "From a pair back to its group, which closes."),
    ),
    "stores": (
        Key("a", "add", "add", "Add a store: a folder, disk or share.", 1),
        Key("i,enter", "index", "index", "Read what is new or changed in this store.", 2),
        Key("I", "index_all", "index all", "Read what is new or changed in every store."),
        Key("c", "audit", "check", "Check this store's files against their checksums.", 3),
        Key("b", "bring_up_to_date", "bring up to date", "Copy to this store what it lacks, verified.", 4),
        Key("f", "retire", "retire", "Retire this store; nothing on the disk is touched.", 5),
        Key("n", "names", "names", "See how names are read in all stores, change the rules, and refile by them.", 6),
    ),
    "names": (
        Key("enter", "meaning", "meaning", "Say what folders at this level are: artists, titles, years, jobs.", 1),
        Key("e,f2", "rename", "correct", "Correct the artist under the cursor, or the title of the piece.", 2),
        Key("ctrl+s", "use", "use these", "Use these names from now on.", 3),
        Key("u", "undo", "undo", "Undo the last choice.", 4),
        Key("escape", "back", "cancel", "Go back and change nothing.", 5),
        Key("r", "take_back", "former rules", "Undo the last change of the rules and file as before."),
    ),
    "adding": (
        Key("ctrl+n", "names", "names", "See how the names are read, and correct that.", 2),
        Key("ctrl+s", "take", "add this folder", "Add the folder as a store and read it.", 1),
        Key("enter", "enter_folder", "open folder", "Open this folder.", 3),
        Key("escape", "back", "cancel", "Go back without adding anything.", 2),
    ),
    "audit": (
        Key("enter", "next_step", "next step", "Do what is proposed for this finding.", 1),
        Key("c", "audit", "check now", "Check files against their checksums, oldest check first.", 2),
        Key("e", "accept", "accept", "Close the finding without a fix; the reason goes into the log.", 3),
        Key("p", "piece", "piece", "Open the piece the finding concerns.", 4),
        Key("right,l", "pane_right", "findings", "Go to the findings."),
        Key("left,h", "pane_left", "kinds", "Go to the kinds of finding."),
    ),
    "intake": (
        Key("enter", "answer", "answer", "Enter the artist, the piece, and how it was scanned.", 1),
        Key("space", "take_or_leave", "include/skip", "Include this original, or skip it.", 2),
        Key("g", "go", "import", "Copy what is ready into the store: verified, recorded.", 3),
        Key("w", "watch", "watch", "Watch the folder while you scan; bad tiles are reported at once. Press again to "
                                   "stop.", 4),
        Key("d", "clear_after", "remove after", "Whether to remove from the folder what is safely stored; off by "
                                                "default."),
        Key("ctrl+r", "look", "refresh", "Read the folder again.", 4),
        Key("p", "plan", "plan", "How to capture an original in tiles on the bed."),
        Key("escape", "leave_box", "list", "Back to the list.", 5),
    ),
    "answering": (
        Key("ctrl+s", "answer", "use these", "Use these answers.", 1),
        Key("escape", "back", "cancel", "Change nothing.", 2),
    ),
    "health": (
        Key("enter", "answer", "answer", "Answer a question that only you can answer.", 1),
        Key("b", "backup", "back up", "Back up the catalogue, and check the backup.", 2),
    ),
    "auditing": (
        Key("enter", "start", "start", "Start the audit.", 1),
        Key("escape", "back", "cancel", "Cancel.", 2),
    ),
    "reason": (
        Key("enter", "answer", "record", "Record what you typed.", 1),
        Key("escape", "back", "cancel", "Record nothing.", 2),
    ),
    "repeat": (
        Key("enter", "record", "record", "Record the order as it stands, from any field.", 1),
        Key("ctrl+l", "last_buyer", "last buyer", "Fill in last time's buyer.", 3),
        Key("ctrl+o", "artist_buys", "artist buys", "Fill in the artist as the buyer.", 4),
        Key("ctrl+n", "same_order", "same order", "Put the print into the order recorded last, with its buyer.", 6),
        Key("ctrl+t", "switch_scan", "other scan", "Print from last time's scan instead of the current master.", 5),
        Key("escape", "back", "cancel", "Record nothing.", 2),
        Key("pagedown", "words_down", "scroll down", "Scroll down in the order's details.", 7),
        Key("pageup", "words_up", "scroll up", "Scroll up in the order's details."),
    ),
    "sheet": (*SHEET_KEYS,),
    "job_sheet": (*SHEET_KEYS,
                  Key("w", "print_file", "print file", "Write the line's print file for the printer.", 4),
                  Key("x", "stop_work", "stop work", "Stop what is running; what is done is kept.", 7)),
    "statement": (*SHEET_KEYS, Key("i", "issue", "issue", "Issue the statement; it cannot be changed afterwards.", 4)),
    "buyers": (
        Key("enter", "orders", "their orders", "Show the orders of the buyer.", 1),
        Key("escape,backspace", "back", "back", "Go back to the orders.", 2),
        Key("e,f2", "edit", "edit", "Correct name, contact or notes of the buyer.", 3),
        Key("space", "mark", "mark", "Mark or unmark the buyer.", 4),
        Key("m", "merge", "merge", "Merge the marked buyer with this one: two spellings of one name.", 5),
        UNDO,
    ),
    "plan": (
        Key("escape", "back", "close", "Close the panel.", 1),
    ),
    "line": (
        Key("enter", "answer", "continue", "Continue with what you typed.", 1),
        Key("escape", "back", "cancel", "Cancel.", 2),
    ),
    "question": (
        Key("y", "yes", "yes", "Yes."),
        Key("escape,n", "back", "no", "No."),
    ),
    "words": (Key("escape,q", "back", "close", "Close."),),
    "form": (
        Key("ctrl+s", "save", "save", "Record what was changed; Enter does so too.", 1),
        Key("escape", "back", "cancel", "Change nothing.", 2),
        Key("down", "down", "next match", "Choose the next matching name.", 3),
        Key("up", "up", "previous match", "Choose the previous matching name."),
        Key("ctrl+g", "give_back", "as guessed", "Remove what was entered here; it is guessed again.", 4),
    ),
    "choice": (
        Key("enter", "choose", "choose", "Choose this line.", 1),
        Key("escape", "back", "cancel", "Change nothing.", 2),
    ),
    "help": (Key("escape,question_mark,q", "back", "close", "Close the help.", 1),),
    "search": (
        Key("escape", "back", "close", "Close the search.", 2),
        Key("enter", "open", "open", "Open the match.", 1),
        Key("down", "down", "next", "Next match.", 3),
        Key("up", "up", "previous", "Previous match.", 4),
        Key("f2", "edit", "edit", "Correct the artist, piece or scan under the cursor.", 5),
    ),
}


def bindings(keys: Iterable[Key]) -> list[BindingType]:
    """Textual's bindings for some keys: those of a screen, of the app, or of every list."""
    return [Binding(key.keys, key.action.removeprefix("app."), key.label, show=False) for key in keys]
