"""A short run of the archive beside its reference; ``scripts/model.py`` runs long."""

from hypothesis import HealthCheck, settings
from machine import ArchiveMachine

TestArchive = ArchiveMachine.TestCase
TestArchive.settings = settings(max_examples=12, stateful_step_count=25, deadline=None, derandomize=True,
                                suppress_health_check=list(HealthCheck))
