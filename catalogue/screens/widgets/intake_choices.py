"""What an intake starts from: the folder, the store, and what else is to be done with the scans."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from textual.containers import Horizontal, Vertical
from textual.widget import Widget
from textual.widgets import Button, Input, Select

from catalogue.records.stores import Store
from catalogue.screens.texts.formats import safe
from catalogue.screens.widgets.tick import Tick


class IntakeChoices(Vertical):
    """Folder and store on the first line; watching, copies and removal on the second."""

    def __init__(self) -> None:
        super().__init__()
        self._stores: Sequence[Store] = ()

    def compose(self) -> Iterable[Widget]:
        with Horizontal(id="intake-top"):
            yield Input(placeholder="Folder of new scans, such as a card or USB stick", id="intake-folder",
                        compact=True)
            yield Select[str]([], prompt="into store", id="intake-store", compact=True)
        with Horizontal(id="intake-choices"):
            yield Button("Watch the folder", id="intake-watch", action="screen.watch", compact=True)
            yield Tick("copy stores too", value=True, id="intake-also", compact=True)
            yield Tick("remove from the folder afterwards", id="intake-remove", compact=True)

    def offer(self, stores: Sequence[Store]) -> None:
        """Let the person choose one of ``stores``, the first primary one unless they say otherwise."""
        if [store.name for store in stores] == [store.name for store in self._stores]:
            return
        self._stores = stores
        select = self.query_one("#intake-store", Select)
        select.set_options([(safe(store.name), store.name) for store in stores])
        first = next((store.name for store in stores if store.kind == "primary"), None)
        if first is not None:
            select.value = first

    @property
    def chosen(self) -> tuple[Path, str] | None:
        """Folder and store, once both are named."""
        text = self.query_one("#intake-folder", Input).value.strip()
        store = self.query_one("#intake-store", Select).value
        return (Path(text).expanduser().absolute(), store) if text and isinstance(store, str) else None

    def copy_stores(self, store: str, online: Mapping[int, bool]) -> list[str]:
        """Which connected stores get a copy beside ``store``."""
        if not self.query_one("#intake-also", Tick).value:
            return []
        return [other.name for other in self._stores
                if other.kind != "primary" and other.name != store and online.get(other.id, False)]

    @property
    def removing(self) -> Tick:
        """Whether the folder is cleared of what is safely stored."""
        return self.query_one("#intake-remove", Tick)

    def show_watch(self, label: str, *, watching: bool) -> None:
        """Name what the button does; folder and store stay as they are while the folder is watched."""
        self.query_one("#intake-watch", Button).label = label
        for name in ("#intake-folder", "#intake-store"):
            self.query_one(name).disabled = watching
