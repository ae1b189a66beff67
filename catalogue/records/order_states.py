"""The states of orders and lines, as SQL over ``orders o`` and ``order_line l``.

A person states a status for the whole order, and what was handed over of each line. From both follows: a line whose
prints were all handed over is collected, and an order all of whose lines are collected is collected. An order stated as
collected is collected, whatever was recorded as handed over: older orders have no days on record.
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
# Prints still to come of an order handed over in part.
PARTLY = f"""({LINE_STATUS} NOT IN ('collected', 'cancelled') AND EXISTS (
                 SELECT 1 FROM order_line x JOIN handover h ON h.line_id = x.id
                 WHERE x.order_id = o.id AND x.cancelled = 0))"""


def stated_status(db: Database, order_id: int) -> str:
    """The status a person gave the order, whatever was handed over since."""
    return fetch_text(db, "SELECT status FROM orders WHERE id = ?", [order_id])
