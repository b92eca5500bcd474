"""What all tests run under.

One thread a library: threads that wait for each other by spinning cost more than these tests' work. And
Ctrl-C works even where the tests were started in the background of a script, whose children are deaf to it.
"""

import os
import signal

# Before numpy is imported, which reads them then. `setdefault`: who sets them has a reason.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OMP_THREAD_LIMIT"):
    os.environ.setdefault(name, "1")

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
