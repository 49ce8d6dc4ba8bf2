"""What `make bench` runs: each figure beside a floor taken in the same run, on the same machine."""
