"""The shipped archive, its truth, and the generator's modules, which live outside the package."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest

PROJECT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(PROJECT / "scripts"))


@pytest.fixture(scope="session")
def archive() -> Path:
    return PROJECT / "demo_archive"


@pytest.fixture(scope="session")
def truth(archive: Path) -> dict[str, Any]:
    made: dict[str, Any] = json.loads((archive / "truth.json").read_text(encoding="utf-8"))
    return made


@pytest.fixture(scope="session")
def files(truth: dict[str, Any]) -> dict[str, dict[str, Any]]:
    made: dict[str, dict[str, Any]] = truth["files"]
    return made
