"""What a plan tells on its page: facts, rules of the verdict, the order to run."""

from __future__ import annotations

from typing import Any

from pipelines.compare import designs
from pipelines.compare.plan import IN_SETS, Loaded, Plan, Span

RULES = (
    "Stay within permit and handling limits at every step; have a rule for stopping, and stop when cake or filtrate leaves it.",
    "Run the sets in this order. A day that cannot be run as planned is left out, not moved.",
    "Declare each arrangement in the plant file as it is installed, and log maintenance, deliveries and product changes.",
    "Nobody reads the result before the last day, but for the running figure whose interval is valid at all times.",
    "A change after freezing is an amendment: numbered, dated, with the role that made it. Results name hash and amendments.",
)


def told(loaded: Loaded, lengths: tuple[list[dict[str, Any]], list[str]]) -> dict[str, Any]:
    """Return what the page of a plan prints; `lengths`: rows and notes of the trial length, empty where the history is too short."""
    plan = loaded.plan
    frozen = f"frozen {loaded.frozen_utc:%Y-%m-%d %H:%M} UTC" if loaded.frozen_utc else "a draft, not frozen"
    sets, is_proposed = plan.sets, False
    if plan.plan.design in IN_SETS and not sets:
        sets, is_proposed = designs.drawn_sets(plan.plan, plan.draw), True
    rungs = designs.drawn_rungs(plan.draw, len(sets)) if plan.draw.dose_rule == "ladder" else [[] for _ in sets]
    return {
        "question": plan.plan.question, "plan_line": f"Plan {loaded.name}, hash {loaded.shown_hash}, {frozen}.",
        "standing": "frozen plan" if loaded.frozen_utc else "draft: plan not frozen", "facts": _facts(plan), "verdicts": _verdicts(plan),
        "exclusions": _exclusions(plan), "is_proposed": is_proposed, "order_line": _order(plan, len(sets)),
        "sets": [
            {"no": str(k), "first": _block(s.blocks[0]), "then": "; ".join(_block(b) for b in s.blocks[1:]), "rungs": ", ".join(f"{r:g}" for r in row) or "-"}
            for k, (s, row) in enumerate(zip(sets, rungs, strict=True), 1)
        ],
        "lengths": [{k: str(r[k]) for k in ("question", "design", "needs")} for r in lengths[0]], "length_notes": lengths[1],
        "instruments": _instruments(plan), "factors": [f"{f.name}: {f.in_arm_from} in both arms" for f in plan.static_factors], "rules": list(RULES),
    }  # fmt: skip


def _fact(name: str, text: str) -> dict[str, str]:
    return {"name": name, "text": text}


def _facts(plan: Plan) -> list[dict[str, str]]:
    head, draw, asked = plan.plan, plan.draw, plan.performance
    found = [
        _fact("line, design", f"{head.line}, {head.design}" + (f", control line {head.control_line}" if head.control_line else "")),
        _fact("arms", f"{head.arm_from}, then {head.arm_to}"),
        _fact("days", f"{head.first_day} to {head.last_day}; {head.transition_days} operating days left out after a change of arrangement"),
        _fact("outcomes, primary first", ", ".join(head.outcomes)),
        _fact("dose", f"by {draw.dose_rule}"),
    ]
    wanted = [f"cake at least {asked.cake_pct:g} %"] if asked.cake_pct else []
    wanted += [f"capture at least {asked.capture_pct:g} %"] if asked.capture_pct else []
    if wanted:
        found.append(_fact("performance asked for", ", ".join(wanted)))
    if plan.money is not None:
        low, usual, high = plan.money.annual_dry_solids_t
        found.append(_fact("money", f"prices of {plan.money.price_day}; {low:g} to {high:g} t of dry solids a year, typically {usual:g}"))
    return [*found, _fact("not claimed", head.not_claimed)]


def _verdicts(plan: Plan) -> list[dict[str, str]]:
    m = plan.margins
    return [
        _fact("shown", "the whole 95 % interval speaks for the new arrangement, and nothing caps the verdict"),
        _fact("worse", "the whole interval speaks against it"),
        _fact("not shown", "anything between; no proof of no effect"),
        _fact("refused", "too little data, meters in doubt, instruments not verified, or a static factor changed: no number"),
        _fact(
            "gates", f"cake not lower by more than {m.cake_pct:g} point, capture by {m.capture_pct:g} point, throughput by {100 * m.throughput_share:g} %; filtrate "
            f"solids at most {m.filtrate_ratio:g} times: lower end of a 90 % interval",
        ),
    ]  # fmt: skip


def _exclusions(plan: Plan) -> list[str]:
    rules = plan.exclusions
    found = [f"flagged {' or '.join(rules.flag_severities)}"] if rules.flag_severities else []
    found += ["feed TS held"] if rules.provisional_days else []
    found += ["weeks with a meter in doubt"] if rules.doubted_meters else []
    return [*found, "two arrangements on one day", "no dose by the gates of the day"]


def _order(plan: Plan, count: int) -> str:
    if plan.draw.is_drawn:
        return f"Drawn by seed {plan.draw.seed} from {2**count:,} possible orders; anyone can repeat the draw."
    return "Fixed, not drawn: differences of days can then not be called shown."


def _block(block: Span) -> str:
    days = f"{block.first:%Y-%m-%d}" if block.first == block.last else f"{block.first:%Y-%m-%d} to {block.last:%m-%d}"
    return f"{days} {block.arm}"


def _instruments(plan: Plan) -> list[str]:
    done = {v.role: f"{v.role}: verified {v.at}, {v.method}, found error {v.found_error_pct:+.1f} %" for v in plan.verifications}
    return [*done.values(), *(f"{role}: to be verified before the first day" for role in plan.required_verified if role not in done)]
