"""Benchward. One processor for one sum: the matrices here are small, and threads that wait for each other cost more."""

import os

# Before numpy is imported, which reads it once. Whoever sets it otherwise is heard.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
