"""What the `benchledger` command does, one verb per file. `server/cli.py` only names them."""
