"""One thread a library: threads that wait for each other by spinning cost more than these tests' work."""

import os

# Before numpy is imported, which reads them then. `setdefault`: who sets them has a reason.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OMP_THREAD_LIMIT"):
    os.environ.setdefault(name, "1")
