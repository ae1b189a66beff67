"""The archive catalogue of a fine-art print shop."""

import os

# Before numpy is loaded: matrix products are small here, or made side by side in threads of our own. Threads of
# OpenBLAS beside these would wait for each other, spinning.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
