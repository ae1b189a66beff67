"""The choices an intake starts from: folder, store, and further options for the scans."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from textual.containers import Horizontal, Vertical
from textual.widget import Widget
from textual.widgets import Button, Input, Select

from catalogue.records.stores import Store
from catalogue.screens.texts.formats import safe
from catalogue.screens.widgets.tick import Tick


class IntakeChoices(Vertical):
    """Folder and store on the first line; watching, copies and ``removing`` (whether the folder is cleared of what is
    safely stored) on the second."""

    def __init__(self) -> None:
        super().__init__()
        self._stores: Sequence[Store] = ()
        self.folder = Input(placeholder="Folder of new scans, such as a card or USB stick", id="intake-folder",
                            compact=True)
        self._store = Select[str]([], prompt="into store", id="intake-store", compact=True)
        self._watch = Button("Watch the folder", id="intake-watch", action="screen.watch", compact=True)
        self._also = Tick("copy stores too", value=True, id="intake-also", compact=True)
        self.removing = Tick("remove from the folder afterwards", id="intake-remove", compact=True)

    def compose(self) -> Iterable[Widget]:
        yield Horizontal(self.folder, self._store, id="intake-top")
        yield Horizontal(self._watch, self._also, self.removing, id="intake-choices")

    def offer(self, stores: Sequence[Store]) -> None:
        """Let the person choose one of ``stores``, the first primary one unless they say otherwise."""
        if [store.name for store in stores] == [store.name for store in self._stores]:
            return
        self._stores = stores
        self._store.set_options([(safe(store.name), store.name) for store in stores])
        first = next((store.name for store in stores if store.kind == "primary"), None)
        if first is not None:
            self._store.value = first

    @property
    def chosen(self) -> tuple[Path, str] | None:
        """Folder and store, once both are named."""
        text, store = self.folder.value.strip(), self._store.value
        return (Path(text).expanduser().absolute(), store) if text and isinstance(store, str) else None

    def copy_stores(self, store: str, online: Mapping[int, bool]) -> list[str]:
        """Which connected stores get a copy beside ``store``."""
        if not self._also.value:
            return []
        return [other.name for other in self._stores
                if other.kind != "primary" and other.name != store and online.get(other.id, False)]

    def show_watch(self, label: str, *, watching: bool) -> None:
        """Name what the button does; folder and store stay as they are while the folder is watched."""
        self._watch.label = label
        self.folder.disabled = self._store.disabled = watching
