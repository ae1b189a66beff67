"""What Textual keeps to itself and the screens must know: whether a widget has messages waiting, a screen its layout.

The only module that reads these. Written against Textual 8.2; ``tests/screens/test_gate.py`` fails where they change.
"""

from textual.message_pump import MessagePump
from textual.screen import Screen
from textual.worker import Worker


def has_messages(node: MessagePump) -> bool:
    """Whether messages wait to be handled by ``node``. One that is being handled just now does not count."""
    return not node._message_queue.empty() or node._pending_message is not None or bool(node._next_callbacks)


def is_laid_out(screen: Screen[object]) -> bool:
    """Whether the screen and all in it are mounted, and no layout is due."""
    return screen.is_mounted and not screen._layout_required


def is_over(worker: Worker[None]) -> bool:
    """Whether a worker has ended, or will never begin since it was cancelled first."""
    return worker.is_finished or worker.is_cancelled
