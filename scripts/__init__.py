"""Checks, benchmarks, long proofs and the painter of demo archives."""

import catalogue  # noqa: F401 - holds matrix products to one thread, which must be said before numpy is loaded
