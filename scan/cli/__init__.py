"""The command line: `main` parses, shows progress, turns errors into messages and exit codes.

One file a group of commands: `printing` (print), `reading` (read), `stored` (rounds, export, import),
`practice` (focus), `review`, `demo`; `places` knows where things are kept. Clocks, randomness and paths enter
the program here.
"""
