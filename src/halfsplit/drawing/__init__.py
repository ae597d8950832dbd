"""The current-path drawing of a circuit, in the manner of wiring diagrams (DIN 40719, symbols after IEC 60617).

``draw(model)`` gives a ``Drawing``; ``plan`` and ``paint_plan`` are its two halves, for a page that redraws with
each reading; ``concerned`` and ``arranged`` are the halves of ``plan``, for one that keeps arrangements.
"""

from halfsplit.drawing.drawing import (
    CSS,
    DARK,
    Drawing,
    Plan,
    Theme,
    arranged,
    concerned,
    draw,
    paint_plan,
    plan,
)
from halfsplit.drawing.fold import Fold
from halfsplit.drawing.labels import Overlays
from halfsplit.drawing.page import Boxes
