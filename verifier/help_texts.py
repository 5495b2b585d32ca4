"""What `--help` says below the options: exit codes, examples, words that a command takes."""

from __future__ import annotations

EXIT_CODES_TOLD = """\
exit codes:
  0  every verdict is as expected          3  a claim stayed undecided
  1  a claim is not as expected            4  internal disagreement or error
  2  the input or the call is wrong      130  interrupted (Ctrl-C)
"""

EXAMPLE = """\
example: two bells that must never be struck together
  $ cat two_bells.wiring
  circuit two_bells
      input  low_key, high_key
      output low_bell, high_bell
      must never_both: never (low_bell and high_bell)
      low_bell  = low_key
      high_bell = high_key and not low_key
  $ edgewright check two_bells.wiring
"""

EQUAL_TOLD = """\
Exit code 0: they behave the same for ever. 1: they do not, and the shortest
input sequence that tells them apart is printed. Only what the output pins
show is compared, at every instant; what is inside may differ.
"""

FAULTS_TOLD = """\
A fault is noticed when some claim gets another verdict than on the good
circuit; harmless when it is proved that the outputs never show it; otherwise
unnoticed, and a sequence is printed on which the outputs differ. Asked are
the claims of the settled view. Exit code 0: every fault is noticed or
harmless. 1: some are not.
"""

EXPLAIN_TOLD = """\
A claim that is broken or shown: which values of its run matter, a dot for
those that do not, and what comes of what. One that is proved or impossible:
the invariant in words of the circuit's nets, as small as it can be made, and
which givens, rules about inputs and starts the proof leans on. The exit code
is that of `check`.
"""

RUN_STEPS = """\
Each STEP is one step; the words in it happen together:
  lever=1         set an input (a bus takes a number: pattern=5)
  lever           flip an input of one bit
  "a=1 b=0"       two at once, where the file lets inputs change together
  wait            change nothing
"""

CHECKLIST_TOLD = """\
At the board:
  --saw "step 7: beat high"         it disagreed there: which single faults
                                    explain all readings so far, and what tells
                                    them apart
  --then "flip lever up: beat low"  a further step and what came of it (may be
                                    given again)
  --then "probe agree: high"        the same for a meter reading
"""

GATE_TOLD = """\
A folder is searched for files that end in .wiring; hidden folders are left out.
Only what lies in the paths is compared with the record of --against. No record
is written where an error kept something from being judged.

kinds of change; * fails unless --fail-on says otherwise (`none`: none does):
  newly-broken *   it held, and holds no more
  disappeared *    a recorded claim or circuit is gone
  weakened *       a new assumption, a worse measured number, or a trigger that
                   cannot happen any more
  undecided        it had an answer, and has none (exit code 3 where it does not
                   fail)
  reworded         it says something else under the same name
  strengthened     the opposite of weakened
  newly-proved     it did not hold, and does now
  appeared         a claim or circuit that is not in the record

"""
