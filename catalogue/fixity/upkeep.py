"""What is brought up to date whenever an index run has ended."""

from catalogue.fixity import backup, copies
from catalogue.progress import Cancelled, Progress, Report, never, unheard
from catalogue.records.database import Database
from catalogue.settings import Home


def after_indexing(db: Database, home: Home, *, report: Report = unheard,
                   cancelled: Cancelled = never) -> dict[str, int]:
    """Count the copies of every master anew, and back the catalogue up once a day, unless it is to stop.

    Gives how many masters lack a copy, by kind of finding.
    """
    report(Progress("Counting copies"))
    lacking = copies.review(db, home.settings)
    if not cancelled():
        backup.back_up_if_due(db, home, report=report)
    return lacking
