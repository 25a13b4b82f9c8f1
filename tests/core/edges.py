"""What every formula of one domain has in common: it holds to its ends and refuses beyond them."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from afocal.core.errors import RangeRefusal


def ends_where_it_says(
    function: Callable[..., float], inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    """Computed at the last value inside; refused, with an example, at the first outside and at not-a-number."""
    assert math.isfinite(function(*inside))
    with pytest.raises(RangeRefusal, match=r"accepted is .*for example"):
        function(*outside)
    for place in range(len(inside)):
        with pytest.raises(RangeRefusal):
            function(*(math.nan if k == place else value for k, value in enumerate(inside)))
