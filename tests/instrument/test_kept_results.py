"""Results kept in the data folder are those that the code gives."""

import pandas as pd
import pytest

from balancekit.calculation.weighing.plan_comparison import compare_with_every_sixth
from balancekit.instrument.kept_results import plan_comparison


@pytest.mark.slow
def test_the_kept_comparison_is_what_the_code_gives():
    pd.testing.assert_frame_equal(plan_comparison(), compare_with_every_sixth(), rtol=1e-6)
