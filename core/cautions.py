"""The sentences of those cautions that both the plan and the fitting give: one wording each, wherever it is shown.

Whether a caution applies is decided where it is given: beside the plan in :mod:`.plan.cautions`, to the person in
:mod:`.fitting.cautions`. Nothing here states who may drive.
"""

from __future__ import annotations

SUN = "Never look at or near the sun through the device: it burns the eye at once and without pain."
MOVING = (
    "Do not walk, climb stairs, ride or work at a machine while looking through it: stop, spot, look away."
)
DRIVING = (
    "This device gives no right to drive: local law, the licensing authority and the licensed practitioner "
    "decide, after training and a road test where the law allows it."
)
SEATED = "Worn straight ahead it is for sitting still: take it off before standing up."
FALLS = "There was a fall in the last year: seated use only, until practice has shown that standing is safe."
JUDGEMENT = "Computed figures support the judgement of a licensed practitioner; they do not replace it."
AT_REST = (
    "This is of seeing the detail at rest: who may drive, and with what, local law, the licensing authority and the "
    "licensed practitioner decide."
)
