"""What to practise: from kept rounds to one focus, how sure it is, a plan, and whether it helped.

rounds -> `history` (columns of throws, holes, notes) -> `model`, `cost`, `causes`, `putting`, `luck`,
`over_time` (each one question, as pure functions on arrays) -> `focus` (one stated rule, plain words)
-> `plan` (minutes into boxes and drills) -> `report` (pictures and pages). `effect` compares before and
after, `players` pools several players. Nothing here opens a file, a store or a clock; `scan.advice`
does.
"""
