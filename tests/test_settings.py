"""The shop's settings: what is allowed is taken, all else is told when they are read: key, value and what may be."""

from dataclasses import fields
from pathlib import Path

import pytest

from catalogue.allowed_settings import ALLOWED, setting_fault
from catalogue.errors import CatalogueError
from catalogue.indexing.naming import names_in_path
from catalogue.intake.naming import checked_rule
from catalogue.settings import Settings, read_settings

WRONG = [
    ("colour = 1", "'colour'"), ("thema = 'dark'", "mean theme"),
    ("Theme = 'dark'", "mean theme"), ("copies_wantd = 2", "mean copies_wanted"),
    ("workers = 'two'", 'workers is "two"'), ("workers = true", "workers is true"),
    ("workers = -1", "workers is -1"), ("workers = 1.5", "workers is 1.5"), ("workers = ", "Invalid value"),
    ("place_rules = [1]", "place_rules is [1]"), ("place_rules = ['*/*']", "place_rules"),
    ("place_rules = ['{artist}/{artist}']", "place_rules"), ("place_rules = ['{artst}/x']", "place_rules"),
    ("place_rules = ['{artist=a/b}/x']", "place_rules"),
    ("place_rules = ['{piece}/{piece}.*']", "place_rules"), ("place_rules = ['{title}/{piece}']", "place_rules"),
    ("place_rules = '{artist}/{piece}.*'", "place_rules"),
    ("bed_mm = []", "bed_mm is []"), ("bed_mm = [297]", "bed_mm"),
    ('beds = ["A2 420"]', "beds is"),
    ("bed_mm = [0, 420]", "bed_mm"), ("bed_mm = [297, 420, 5]", "bed_mm"), ("print_ppi = [0]", "print_ppi is [0]"),
    ("print_ppi = []", "print_ppi is []"), ("print_ppi = [true]", "print_ppi is [true]"),
    ("print_ppi = 300", "print_ppi is 300"), ("backups_kept = 0", "backups_kept is 0"),
    ("copies_wanted = 0", "copies_wanted is 0"),
    ("theme = 'drak'", 'theme is "drak"; it must be "dark" or "light"'),
    ("graphics = 'sixel'", "graphics"), ("connection = 'ssh'", "connection"),
    ("dates = 'day'", "dates"), ("dates = '%d %b'", "dates"), ("dates = '%Q'", "dates"), ("dates = 5", "dates"),
    ("currency = ''", "currency"), ("tile_overlap = 1", "tile_overlap is 1"), ("tile_overlap = nan", "tile_overlap"),
    ("tile_overlap = -0.1", "tile_overlap"), ("audit_days = 0", "audit_days"), ("read_only = 1", "read_only is 1"),
    ("naming_rule = '../{piece}{suffix}'", "naming_rule"), ("naming_rule = '{piece}'", "naming_rule"),
    ("naming_rule = '{title}{suffix}'", "naming_rule"), ("naming_rule = '{piece{suffix}'", "naming_rule"),
    ("ignore = ['a/b']", "ignore"), ("ignore = ['']", "ignore"), ("open_with = 1", "open_with is 1"),
    ("print_folder = 'prints'", "print_folder"),
    ("print_folder = '~nosuchuser/x'", "print_folder"),
    ("print_folder = 1", "print_folder"), ("print_in_stores = 'yes'", "print_in_stores"),
    ("copies_on_one_disk = 'no'", "copies_on_one_disk"), ("[theme]", "theme is {}"),
]


@pytest.mark.parametrize(("text", "words"), WRONG)
def test_settings_that_are_wrong_are_told(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "settings.toml").write_text(text)
    with pytest.raises(CatalogueError) as told:
        read_settings(tmp_path / "settings.toml")
    assert words in told.value.message
    name = text.split(maxsplit=1)[0]
    if name in ALLOWED and not text.endswith("= "):
        assert ALLOWED[name].words in told.value.message
    assert told.value.exit_code == 2 and told.value.path == tmp_path / "settings.toml"


def test_every_fault_is_told_at_once(tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text("theme = 'drak'\nworkers = -1\ncolour = 1\n")
    with pytest.raises(CatalogueError) as told:
        read_settings(tmp_path / "settings.toml")
    assert all(word in told.value.message for word in ("theme", "workers", "colour"))


def test_every_setting_has_its_rule_and_its_default_keeps_it() -> None:
    for field in fields(Settings):
        value = getattr(Settings(), field.name)
        assert setting_fault(field.name, list(value) if isinstance(value, tuple) else value) == ""
    assert set(ALLOWED) == {field.name for field in fields(Settings)}
    assert {text.split()[0] for text, _ in WRONG} >= set(ALLOWED), "each is tried with something wrong"


def test_settings_take_what_is_given_and_keep_the_rest(tmp_path: Path) -> None:
    (tmp_path / "settings.toml").write_text(
        'currency = "GBP"\nprint_ppi = [360, 180]\ntile_overlap = 0\nbed_mm = [300, 450]\ndates = "%m/%d/%y"\n'
        'place_rules = ["{artist}/{piece}.*"]\nignore = []\n')
    settings = read_settings(tmp_path / "settings.toml")
    assert (settings.currency, settings.print_ppi, settings.tile_overlap) == ("GBP", (360, 180), 0)
    assert (settings.bed_mm, settings.dates, settings.ignore) == ((300, 450), "%m/%d/%y", ())
    assert settings.naming_rule == Settings().naming_rule


def test_a_setting_under_its_former_name_is_still_read(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text("minimum_copies = 3\n")
    assert read_settings(path).copies_wanted == 3


def test_rules_that_are_allowed_can_be_used() -> None:
    assert names_in_path("Ada Quill/Harbour.tif", ["{artist}/{piece}.*"]).piece == "Harbour"
    assert checked_rule(Settings().naming_rule)


def test_a_settings_file_that_is_no_file_is_told(tmp_path: Path) -> None:
    (tmp_path / "settings.toml").mkdir()
    with pytest.raises(CatalogueError) as told:
        read_settings(tmp_path / "settings.toml")
    assert told.value.path == tmp_path / "settings.toml"


def test_the_readme_lists_every_setting_with_its_default() -> None:
    text = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    rows = dict(line.strip("| ").split(" | ", 1) for line in text.splitlines() if line.startswith("| `") and
                line.strip("| ").split("`")[1] in ALLOWED)
    assert {name.strip("`") for name in rows} == set(ALLOWED)
    for name, rest in rows.items():
        value = getattr(Settings(), name.strip("`"))
        if isinstance(value, tuple) and value and isinstance(value[0], str):
            continue  # a long list: the README says where it is
        value = list(value) if isinstance(value, tuple) else value
        written = str(value).lower() if isinstance(value, bool) else str(value)
        assert rest.startswith(f"`{written}` |") or value == "", name


def test_a_whole_number_has_a_least_and_a_most() -> None:
    for name, least, most in (("workers", 0, 256), ("copies_wanted", 1, 100), ("audit_days", 1, 36_500)):
        assert setting_fault(name, least) == "" == setting_fault(name, most)
        assert name in setting_fault(name, least - 1) and name in setting_fault(name, most + 1)
        assert name in setting_fault(name, True) and name in setting_fault(name, float(most))
