"""The planner's machinery: from a problem to plans, reasons, and the price of changing them.

Ways in: `solve.solve_plan` with the rules of `stopping`; `reasons.explain_unplanned`,
`reasons.cost_of_moving`; `places.fits`, `places.feasible_places`; `relief.relieved`. What they
share: `tables` (the problem in whole numbers), `timing` (the times of one round), `draft` (a plan
being made), `insertion` (putting one visit in). Two searches take turns: `ruin`, small changes
that know every rule, and `rerouting` with `routes`, large ones by PyVRP. Both work on parts of a
draft (`parts`, `part_work`), dealt out by `sharing`; `sides` gives some of them to processes
beside this one (`side`). `hand_rule` and `second_solver` are there to be measured against.
"""
