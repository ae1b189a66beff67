"""Children that heed permissions, whoever runs the tests."""

import sys

# capabilities(7): CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH; prctl(2): PR_CAPBSET_DROP is 24
_WITHOUT = """
import ctypes, os, sys
if os.geteuid() == 0:
    for capability in (1, 2):
        ctypes.CDLL(None).prctl(24, capability, 0, 0, 0)
os.execv(sys.executable, [sys.executable, *sys.argv[1:]])
"""


def heeding_permissions(*words: str) -> list[str]:
    """The command line of this Python with ``words``, without a superuser's right to pass over permissions (Linux)."""
    return [sys.executable, "-c", _WITHOUT, *words]
