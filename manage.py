#!/usr/bin/env python3
"""Every command of Plenum Ledger; ``python3 manage.py start`` needs nothing installed before."""

import sys

if sys.version_info < (3, 11):  # noqa: UP036  said in words before newer syntax is read
    sys.exit("Plenum Ledger needs Python 3.11 or newer; this is Python " + sys.version.split()[0])

from projectsite import bootstrap

if __name__ == "__main__":
    sys.exit(bootstrap.main(sys.argv))
