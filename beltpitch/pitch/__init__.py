"""What is heard: samples, plucks, partials and their fundamental.

The matrix products here are small, and BLAS threads cost more than they give: on a busy machine
they wait for each other (80 times slower was measured). So one thread is asked for, before numpy
is loaded; a setting of the user's own stands.
"""

import os

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
