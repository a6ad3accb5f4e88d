"""``python -m lostgain`` is the command ``lostgain``."""

from lostgain.cli.main import main

if __name__ == "__main__":
    raise SystemExit(main())
