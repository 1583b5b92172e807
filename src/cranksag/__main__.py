# SPDX-License-Identifier: GPL-3.0-or-later
"""`python -m cranksag`: the console script by another name."""

from __future__ import annotations

from cranksag.cli import main

if __name__ == "__main__":  # a worker process imports the main module anew and must not start the command again
    main()
