"""EN 341:2011 descent energy: W = m g h n; classes A 7.5, B 1.5, C 0.5 MJ.

Source: class energies seen in `reference/FACTS.md`; 100 kg over 20 m = 19.62 kJ and
382 / 76 / 25 descents are derived there with g = 9.81 m/s2.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from builders import make_kits

from evac.gear import descent_energy_j, descents_left


def test_100_kg_over_20_m_turns_19_62_kj_into_heat() -> None:
    # 0.05 %: standard gravity is 9.80665, the derivation takes 9.81.
    found = descent_energy_j(mass_kg=100, height_m=20, descents=1)
    assert found == pytest.approx(19_620, rel=5e-4)


@pytest.mark.parametrize(("energy_mj", "descents"), [(7.5, 382), (1.5, 76), (0.5, 25)])
def test_descents_of_each_class(energy_mj: float, descents: int) -> None:
    kit = replace(make_kits()[3], descent_energy_j=energy_mj * 1e6, descent_used_j=0.0)
    assert descents_left(kit, mass_kg=100, height_m=20) == descents
