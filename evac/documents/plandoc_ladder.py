"""Parts of the plan document up to the order and back: ladder, telling, stand-down."""

from __future__ import annotations

from evac.assignment import last_finish_s
from evac.daylight import clock_after
from evac.documents.blocks import Block, heading, paragraph, steps, table
from evac.emptying import emptying_s, running_pays
from evac.facts.plan import Plan
from evac.facts.work import Informed, LadderStep, Trigger
from evac.figures.doubt import of_reached
from evac.informing import VOICE_M
from evac.ladder import ladder, triggers
from evac.words import Words

_STANDDOWN_STEPS = 5
_RUN_STEP_S = 1800.0
_MOST_RUN_ROWS = 8


def ladder_blocks(plan: Plan, words: Words) -> list[Block]:
    """Who does what by when up to the first lowering, and what brings it forward."""
    lift, clock = plan.lift, plan.clock
    keys = ("step", "who", "after", "at", "done")
    forward = ("forward", "planned_day", "done")
    return [
        heading(words.say("ladder.title"), level=2),
        paragraph(words.say("ladder.intro")),
        table(
            [words.say(f"ladder.{key}") for key in keys],
            rows=[_step_row(plan, item, words) for item in ladder(lift, clock)],
            widths=[3, 1.4, 1.3, 1.2, 0.7],
        ),
        paragraph(words.say("ladder.forward_title"), strong=True),
        table(
            [words.say(f"ladder.{key}") for key in forward],
            rows=[_trigger_row(item, words) for item in triggers(lift, clock)],
            widths=[3, 1.6, 0.7],
        ),
    ]


def _step_row(plan: Plan, step: LadderStep, words: Words) -> list[str]:
    role = words.say(f"ladder.role.{step.role}")
    who = (
        words.say("ladder.not_named", role=role)
        if not step.people
        else words.say("ladder.people", role=role, count=step.people)
    )
    day = plan.lift.conditions
    after = words.duration(step.from_s)
    at = words.clock_time(clock_after(day, step.from_s))
    if step.to_s is not None:
        # A latest time is rounded down: it must never be shown later.
        end_s = 60 * (step.to_s // 60)
        key = "ladder.until"
        if step.key == "decision":
            key = of_reached(plan, "ladder.at_latest")
        after = words.say(key, start=after, end=words.duration(end_s))
        at = words.say(key, start=at, end=words.clock_time(clock_after(day, end_s)))
    text = words.say(
        f"ladder.{step.key}", repeat_s=plan.lift.organisation.repeat_word_s
    )
    return [text, who, after, at, words.say("ladder.blank")]


def _trigger_row(trigger: Trigger, words: Words) -> list[str]:
    if trigger.now is None:
        state = words.say("ladder.unforeseen")
    elif trigger.now:
        state = words.say("ladder.holds")
    elif trigger.clock_s is not None:
        state = words.say("ladder.from_clock", from_clock_s=trigger.clock_s)
    else:
        state = words.say("ladder.holds_not")
    text = words.say(f"ladder.{trigger.key}", **trigger.values)
    return [text, state, words.say("ladder.blank")]


def informing_blocks(plan: Plan, words: Words) -> list[Block]:
    """Who tells whom after how long, and where no voice reaches."""
    clock, organisation = plan.clock, plan.lift.organisation
    if clock.informer_round_s is None:
        intro = words.say("informing.nobody", voice_m=VOICE_M)
    else:
        intro = words.say(
            "informing.intro",
            count=organisation.informer_count,
            speed_m_per_s=organisation.informer_speed_m_per_s,
            round_s=clock.informer_round_s,
            first_s=organisation.first_word_s,
            repeat_s=organisation.repeat_word_s,
            voice_m=VOICE_M,
        )
    blocks = [heading(words.say("informing.title"), level=2), paragraph(intro)]
    if plan.informed:
        blocks += [_told_table(plan, words), paragraph(_voice(plan, words))]
    return blocks


def _told_table(plan: Plan, words: Words) -> Block:
    """Spans two abreast."""
    cells = [_told_row(plan, item, words) for item in plan.informed]
    half = -(-len(cells) // 2)
    right = cells[half:] + [[""] * 4] * (2 * half - len(cells))
    keys = ("span", "informer", "word", "voice")
    return table(
        [words.say(f"informing.{key}") for key in keys] * 2,
        rows=[[*a, *b] for a, b in zip(cells[:half], right, strict=True)],
        widths=[0.7, 1, 0.9, 1.2] * 2,
    )


def _told_row(plan: Plan, item: Informed, words: Words) -> list[str]:
    by = after = words.say("plandoc.not_simulated")
    if item.informer is not None and item.word_s is not None:
        by = words.say("informing.number", number=item.informer)
        after = words.duration(item.word_s)
    voice = words.say("informing.heard")
    if item.silent:
        sides = ", ".join(words.say(f"plandoc.side_{s.value}") for s in item.silent)
        voice = words.say("informing.silent", sides=sides)
    return [plan.heights.line.spans[item.span_index].id, by, after, voice]


def _voice(plan: Plan, words: Words) -> str:
    units = [
        f"{plan.heights.line.spans[item.span_index].id} "
        + words.say(f"plandoc.side_{side.value}")
        for item in plan.informed
        for side in item.silent
    ]
    if not units:
        return words.say("informing.all_heard")
    return words.say("informing.unheard", units=", ".join(units))


def standdown_blocks(plan: Plan, words: Words) -> list[Block]:
    """Breaking off in order, and whether running then pays (rule 3)."""
    blocks = [
        heading(words.say("plandoc.standdown")),
        paragraph(
            words.say("plandoc.standdown_intro", standdown_s=plan.clock.standdown_s)
        ),
        steps(
            [
                words.say(f"plandoc.standdown_{number}")
                for number in range(1, _STANDDOWN_STEPS + 1)
            ]
        ),
    ]
    run = emptying_s(plan.lift)
    if run is None or plan.schedule.clear_s <= 0:
        return blocks
    down = plan.lift.organisation.standdown_s
    keys = ("restored", "remains", "likely", "high", "verdict")
    return [
        *blocks,
        heading(words.say("standdown.title"), level=2),
        paragraph(
            words.say(
                "standdown.intro",
                low_s=down.low,
                likely_s=down.likely,
                high_s=down.high,
                run_low_s=run[0],
                run_likely_s=run[1],
                run_high_s=run[2],
                part=words.say("plandoc.times"),
            )
        ),
        *_counted(plan, words),
        table(
            [words.say(f"standdown.{key}") for key in keys],
            rows=_run_rows(
                plan,
                words,
                likely_s=down.likely + run[1],
                high_s=down.high + run[2],
            ),
            widths=[1, 1, 1, 1, 1.4],
        ),
    ]


def _counted(plan: Plan, words: Words) -> list[Block]:
    """Which end of the evacuation the table counts to, where the two differ."""
    clear_s, worst_s = plan.schedule.clear_s, last_finish_s(plan.assignment)
    if words.duration(clear_s) == words.duration(worst_s):
        return []
    text = words.say("standdown.counted", clear_s=clear_s, worst_s=worst_s)
    return [paragraph(text)]


def _run_rows(
    plan: Plan, words: Words, *, likely_s: float, high_s: float
) -> list[list[str]]:
    """Every half hour (longer steps on long evacuations) from the order to the end.

    Counted to the sooner end, that of the sheets' stop: what remains must not seem
    longer than it is, or running would seem to pay for too long.
    """
    clear_s = plan.schedule.clear_s
    step_s = _RUN_STEP_S * max(1, -(-clear_s // (_RUN_STEP_S * _MOST_RUN_ROWS)))
    rows = []
    after_s = 0.0
    while after_s < clear_s:
        remains_s = clear_s - after_s
        verdict = "no"
        if running_pays(plan.lift, remaining_s=remains_s):
            verdict = "yes"
        elif likely_s < remains_s:
            verdict = "perhaps"
        rows.append(
            [
                words.duration(after_s),
                words.duration(remains_s),
                words.duration(likely_s),
                words.duration(high_s),
                words.say(f"standdown.{verdict}"),
            ]
        )
        after_s += step_s
    return rows
