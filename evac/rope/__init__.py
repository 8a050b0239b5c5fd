"""Shape and tension of the haul rope under any load: arrays only.

Read `evac.rope.kernel` beside its equations: `segment` and `march_span` are the
elastic catenary, `sweep` walks one side from the drive to the return station.
"""
