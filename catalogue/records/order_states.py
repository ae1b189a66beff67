"""How far an order and each of its lines are, as SQL over ``orders o`` and ``order_line l``.

A person states a status of the whole order, and what was handed over of each line. From both follows what counts: a
line of which all prints were handed over is collected, and so is an order of which every line is. An order stated as
collected is, whatever is on record as handed over: nobody wrote down the days.
"""

from catalogue.records.rows import Database, fetch_text

HANDED = "coalesce((SELECT sum(h.quantity) FROM handover h WHERE h.line_id = l.id), 0)"
LINE_CANCELLED = "(l.cancelled OR o.status = 'cancelled')"
LINE_STATUS = f"""CASE WHEN l.cancelled THEN 'cancelled' WHEN o.status IN ('collected', 'cancelled') THEN o.status
                  WHEN {HANDED} >= l.quantity THEN 'collected' ELSE o.status END"""
ORDER_STATUS = f"""CASE WHEN o.status IN ('collected', 'cancelled') OR EXISTS (
                       SELECT 1 FROM order_line l WHERE l.order_id = o.id AND l.cancelled = 0 AND {HANDED} < l.quantity)
                       OR NOT EXISTS (SELECT 1 FROM order_line l WHERE l.order_id = o.id AND l.cancelled = 0)
                   THEN o.status ELSE 'collected' END"""
# What is still to come of an order of which something was handed over.
PARTLY = f"""({LINE_STATUS} NOT IN ('collected', 'cancelled') AND EXISTS (
                 SELECT 1 FROM order_line x JOIN handover h ON h.line_id = x.id
                 WHERE x.order_id = o.id AND x.cancelled = 0))"""


def stated_status(db: Database, order_id: int) -> str:
    """The status a person gave the order, whatever was handed over since."""
    return fetch_text(db, "SELECT status FROM orders WHERE id = ?", [order_id])
