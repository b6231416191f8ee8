"""The cautions printed on every page (common practice, no source; to be checked with the owner's counsel)."""

from __future__ import annotations

SHORT = (
    "Advisory only: no control, alarm or safety function. Not for permit or compliance reporting. Doses are active polymer on the "
    "printed basis; provisional: lab results can still come; weeks with fewer than three days with a dose are not compared. Cautions on the last page."
)
CAUTIONS = (
    "Advisory only: this page writes no set-point and is no control, alarm, interlock or safety system; act through the plant's own procedures.",
    "Lock out and tag out before opening pumps, valves or presses; belts, rollers and scrolls pinch; lines can stay under pressure behind a plug.",
    "Digester gas (methane, hydrogen sulfide): test for gas and keep the confined-space rules. Sludge carries pathogens: gloves, wash, do not eat.",
    "Spilled polymer is extremely slippery and water makes it worse: use dry absorbent, eye protection, the safety data sheet. It is toxic to aquatic life.",
    "Never test dead-heading or dry running: pumps can burst or overheat.",
    "Not for discharge or biosolids compliance reporting unless the permit holder's responsible person adopts the numbers; change no compliance record.",
    "Lower capture returns solids and nutrients to the plant; stay inside permit and handling limits while doses are stepped down, with a rule for stopping.",
    "Piping, electrical, pressure-relief and chemical-feed changes need the local code and, where required, a licensed engineer; this is no certification.",
    "A contract governs guarantees and warranty; no measured wear is no proof of no wear; costs hold for the stated conditions and prices.",
    "Failure to show a difference is no proof of equality; unmeasured changes can bias any comparison of weeks. Usual ranges are not limits.",
)
