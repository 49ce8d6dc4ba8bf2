"""What `make bench` runs: each figure beside a floor taken in the same run, on the same machine."""

import os

# As the command and the service do, and before anything imports numpy: threads of the linear
# algebra would only wait for those that draw.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
