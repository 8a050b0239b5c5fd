"""Units of measure: the few conversions that reading and showing need."""

from __future__ import annotations

GRAVITY_M_PER_S2 = 9.80665
"""Standard gravity (3rd General Conference on Weights and Measures, 1901)."""

FOOT_M = 0.3048
"""International foot (1959)."""
