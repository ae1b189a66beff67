"""A few hundred mutated files; scripts/fuzz_reading.py does tens of thousands in a process of its own."""

import random
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))
from fuzz_reading import mutated, written_seeds

from catalogue.reading.file import read_file
from catalogue.reading.limits import Limits
from catalogue.reading.model import Fault

SEEDS = {name: data for name, data in written_seeds().items() if "group4" not in name}


@pytest.mark.filterwarnings("ignore::UserWarning:PIL")
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(name=st.sampled_from(sorted(SEEDS)), seed=st.integers(0, 2**32))
def test_mutations_give_a_preview_or_a_finding(name: str, seed: int, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Whatever was done to a file, a Reading comes back: with a preview or with a finding that says why not."""
    path = tmp_path_factory.getbasetemp() / f"mutated{Path(name).suffix}"
    path.write_bytes(mutated(SEEDS[name], random.Random(seed)))
    reading = read_file(path, limits=Limits(seconds=20))
    assert reading.preview or {fault.kind for fault in reading.faults} - {Fault.NO_PROFILE}
    assert not reading.pixel_digest or reading.preview
    assert reading.seconds < 25, "the limit of 20 s ends it at the next step"
