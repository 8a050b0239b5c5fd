"""Parts of the plan document about time: durations, the clock, the decision ladder."""

from __future__ import annotations

from evac.assignment import last_finish_s
from evac.clock import FROM_ORDER
from evac.documents.blocks import (
    Block,
    figure,
    heading,
    paragraph,
    table,
)
from evac.documents.plandoc_ladder import informing_blocks, ladder_blocks
from evac.emptying import both_sides_ride, carriers_to_unload, unload_stop_s
from evac.factors import NIGHT
from evac.facts.lift import FloatArray, Triple
from evac.facts.plan import Plan
from evac.facts.work import LatestOrder
from evac.figures import clearing_times, svg_bytes, times
from evac.figures.carrier_words import say_of
from evac.figures.doubt import of_reached
from evac.first_lowering import begins_in_time, stop_to_first_s
from evac.limits import limit_chance
from evac.quantiles import quantile
from evac.words import Words


def time_blocks(plan: Plan, words: Words) -> list[Block]:
    """The four durations, what they contain, and the emergency drive beside them."""
    simulation, lift = plan.simulation, plan.lift
    blocks = [
        heading(words.say("plandoc.times")),
        paragraph(words.say("plandoc.times_intro")),
        *_unreached(plan, words),
        _durations(plan, words),
        paragraph(_begins(plan, words)),
        paragraph(words.say("plandoc.times_likely")),
        figure(svg_bytes(clearing_times(plan, words=words)), width_mm=times.WIDTH_MM),
        paragraph(
            words.say(
                "plandoc.times_stated_night"
                if lift.night_counted
                else "plandoc.times_stated",
                factor=NIGHT,
            )
        ),
        paragraph(
            words.say(
                "plandoc.times_sampling",
                runs=simulation.runs,
                seed=simulation.seed,
                p50_low_s=simulation.p50_interval_s[0],
                p50_high_s=simulation.p50_interval_s[1],
                p90_low_s=simulation.p90_interval_s[0],
                p90_high_s=simulation.p90_interval_s[1],
            )
        ),
        paragraph(
            words.say(
                "plandoc.times_contain",
                p50_s=simulation.p50_independent_s,
                p90_s=simulation.p90_independent_s,
            )
        ),
    ]
    if simulation.chance_of_limit is not None:
        blocks.append(paragraph(_chances(plan, words)))
    last = sorted(simulation.last_team_share.items(), key=lambda item: -item[1])
    if last:
        shown = ", ".join(
            words.say("plandoc.last_team", team=team, part_share=share)
            for team, share in last
            if share >= 0.005
        )
        blocks.append(paragraph(words.say("plandoc.times_last", list=shown)))
    blocks.append(paragraph(_emptying(plan, words)))
    day = words.say(
        "plandoc.conditions",
        day=lift.conditions.date,
        stop_clock_s=lift.conditions.stop_clock_s,
        air_c=lift.conditions.air_temperature_c,
        wind_m_per_s=lift.conditions.wind_m_per_s,
        gust_m_per_s=lift.conditions.gust_m_per_s,
        dark=words.say(
            "plandoc.dark_night" if lift.conditions.night else "plandoc.dark_day"
        ),
    )
    blocks.append(paragraph(day))
    return blocks


def _unreached(plan: Plan, words: Words) -> list[Block]:
    """Said before any time, where people are left whom no time covers."""
    if plan.everyone_reached:
        return []
    places = words.say(
        "plandoc.places", count=sum(item.people for item in plan.assignment.uncovered)
    )
    return [paragraph(words.say("plandoc.times_reached", places=places), strong=True)]


def _begins(plan: Plan, words: Words) -> str:
    """Whether the part of a limit for beginning is kept, or that none is named."""
    parts = [
        words.say(
            "first_lowering.met" if met else "first_lowering.missed",
            part_min=limit.before_rescue_min or 0.0,
            limit_min=limit.minutes,
            counts_from=limit.counts_from,
        )
        for limit in plan.lift.limits
        if (met := begins_in_time(limit, plan.simulation)) is not None
    ]
    return " ".join(parts) or words.say("first_lowering.not_judged")


def _chances(plan: Plan, words: Words) -> str:
    """The chance of every limit, each by its own start and end."""
    simulation = plan.simulation
    if not simulation.everyone_reached:
        return words.say("clock.chance_unreached")
    chances = [
        words.say(
            "clock.chance",
            limit_min=limit.minutes,
            counts_from=limit.counts_from,
            counts_to=limit.counts_to,
            chance_share=limit_chance(
                (limit,),
                clear_s=simulation.order_to_clear_s,
                safe_s=simulation.order_to_safe_s,
                stop_to_order_s=simulation.stop_to_order_s,
                everyone_reached=True,
            )
            or 0.0,
        )
        for limit in plan.lift.limits
    ]
    if len(chances) > 1 and simulation.chance_of_limit is not None:
        chances.append(
            words.say("clock.chance_all", chance_share=simulation.chance_of_limit)
        )
    return " ".join(chances)


def _durations(plan: Plan, words: Words) -> Block:
    organisation, simulation = plan.lift.organisation, plan.simulation
    dash = words.say("plandoc.not_simulated")

    def stated(key: str, triple: Triple) -> list[str]:
        values = (triple.low, triple.likely, triple.high)
        return [words.say(key), *(words.duration(v) for v in values), dash, dash]

    def drawn(
        key: str, p50_s: float, p90_s: float, likely_s: float | None
    ) -> list[str]:
        likely = dash if likely_s is None else words.duration(likely_s)
        return [
            words.say(key),
            dash,
            likely,
            dash,
            words.duration(p50_s),
            words.duration(p90_s),
        ]

    first_p50, first_p90 = _p50_p90(simulation.order_to_first_s)
    safe_p50, _ = _p50_p90(simulation.order_to_safe_s)
    begin_p50, begin_p90 = _p50_p90(stop_to_first_s(simulation))
    rows = [
        drawn("plandoc.d_stop_first", begin_p50, begin_p90, None),
        stated("plandoc.d_stop_order", organisation.stop_to_order_s),
        stated("plandoc.d_order_secured", organisation.order_to_secured_s),
        drawn("plandoc.d_order_first", first_p50, first_p90, None),
        drawn(
            "plandoc.d_order_clear",
            simulation.p50_s,
            simulation.p90_s,
            last_finish_s(plan.assignment),
        ),
        stated(
            "plandoc.d_ground_safe",
            plan.ground_to_safe_s or organisation.ground_to_safe_s,
        ),
        drawn("plandoc.d_order_safe", safe_p50, simulation.safe_p90_s, None),
    ]
    keys = ("duration", "low", "likely", "high", "p50", "p90")
    return table(
        [words.say(f"plandoc.{key}") for key in keys],
        rows=rows,
        widths=[1, 0, 0, 0, 0, 0],
        right=[1, 2, 3, 4, 5],
    )


def _p50_p90(seconds: FloatArray) -> tuple[float, float]:
    return quantile(seconds, 0.5), quantile(seconds, 0.9)


def _emptying(plan: Plan, words: Words) -> str:
    if plan.clock.emptying_s is None:
        return words.say("plandoc.no_emptying")
    low_s, likely_s, high_s = plan.clock.emptying_s
    stop = unload_stop_s(plan.lift)
    text = words.say(
        "plandoc.emptying",
        low_s=low_s,
        likely_s=likely_s,
        high_s=high_s,
        standdown_s=plan.clock.standdown_s,
        stop_low_s=stop.low,
        stop_likely_s=stop.likely,
        stop_high_s=stop.high,
        carriers=carriers_to_unload(plan.lift),
        source=words.say(
            "plandoc.unload_assumed"
            if plan.lift.drives.unload_stop_s is None
            else "plandoc.unload_stated"
        ),
    )
    if both_sides_ride(plan.lift):
        text = f"{text} {words.say('plandoc.emptying_both')}"
    until_s = plan.clock.running_pays_until_s
    if until_s is None:
        return text
    if until_s <= 0:
        return f"{text} {words.say('plandoc.running_never')}"
    # Rounded down: the last moment at which running still pays.
    until = words.say("plandoc.running_pays", until_s=60 * (until_s // 60))
    return f"{text} {until}"


def latest_sentence(plan: Plan, words: Words) -> str:
    """By when the evacuation must be ordered, in one sentence."""
    binding = plan.clock.binding
    if binding is None:
        return words.say("plandoc.sum_no_latest")
    reason = words.say(f"clock.{binding.reason}")
    stop_clock_s = plan.clock.stop_clock_s
    if binding.lost:
        return words.say(
            of_reached(plan, "plandoc.sum_lost"),
            stop_clock_s=stop_clock_s,
            reason=reason,
        )
    if binding.after_stop_s < 0:
        return words.say(
            of_reached(plan, "plandoc.sum_too_late"),
            late_s=-binding.after_stop_s,
            stop_clock_s=stop_clock_s,
            reason=reason,
        )
    return words.say(
        of_reached(plan, "plandoc.sum_latest"),
        # Rounded down: a latest time must never be shown later.
        after_s=60 * (binding.after_stop_s // 60),
        latest_clock_s=binding.clock_s,
        stop_clock_s=stop_clock_s,
        reason=reason,
    )


def decision_blocks(plan: Plan, words: Words) -> list[Block]:
    """Latest order times, light, cold, telling passengers, and the ladder."""
    clock, skyline_deg = plan.clock, plan.lift.conditions.skyline_angle_deg
    blocks = [
        heading(words.say("plandoc.decision")),
        paragraph(latest_sentence(plan, words), strong=True),
    ]
    if clock.latest:
        blocks.append(_latest_table(plan, words))
    if clock.sunset_clock_s is not None and clock.dusk_clock_s is not None:
        blocks.append(
            paragraph(
                words.say(
                    "plandoc.sunset_skyline" if skyline_deg > 0 else "plandoc.sunset",
                    skyline_deg=skyline_deg,
                    sunset_clock_s=clock.sunset_clock_s,
                    dusk_clock_s=clock.dusk_clock_s,
                )
            )
        )
    if clock.wind_chill_c is None:
        blocks.append(paragraph(words.say("plandoc.no_cold")))
    else:
        key = f"exposure.{clock.cold_class}"
        name = words.say(key) if words.has(key) else clock.cold_class
        blocks.append(
            paragraph(
                say_of(
                    words,
                    "plandoc.cold",
                    plan.lift,
                    chill_c=clock.wind_chill_c,
                    **{"class": name},
                )
            )
        )
    return [*blocks, *ladder_blocks(plan, words), *informing_blocks(plan, words)]


def _latest_table(plan: Plan, words: Words) -> Block:
    rows = []
    for item in plan.clock.latest:
        never = item.lost or item.reason == FROM_ORDER
        if item.lost:
            after = words.say(f"plandoc.lost_{item.reason}")
        elif never:
            after = words.say("plandoc.missed_by", late_s=-item.after_stop_s)
        elif item.after_stop_s < 0:
            after = words.say("plandoc.too_late", late_s=-item.after_stop_s)
        else:
            after = words.duration(60 * (item.after_stop_s // 60))
        rows.append(
            [
                words.say(f"clock.{item.reason}"),
                after,
                words.say("plandoc.not_simulated")
                if never
                else words.clock_time(item.clock_s),
                words.say("plandoc.yes" if item.met else "plandoc.no"),
                _source(item, words),
            ]
        )
    keys = ("reason", "latest_after", "latest_at", "latest_met", "latest_source")
    return table(
        [words.say(f"plandoc.{key}") for key in keys],
        rows=rows,
        widths=[1.3, 1, 0, 0.9, 1.6],
    )


def _source(item: LatestOrder, words: Words) -> str:
    """Where a time comes from: the folder's source of a limit, or the day's own."""
    key = f"clock.source_{item.reason}"
    return words.say(key) if not item.source and words.has(key) else item.source
