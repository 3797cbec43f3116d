"""For every test: one BLAS thread, as `beltpitch.sound` asks for, also where numpy comes first."""

import os

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
