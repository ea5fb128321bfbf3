"""Answers HTTP: one table of interactions that routes, declares and is tested.

door.py places.py       every request: id, log, metrics, limits, who is asking, what is asked
read.py write.py ...    one interaction a file: an Ask becomes an Answer
outcomes.py             every refusal as an OperationOutcome; the one table of statuses
capability.py description.py    what is declared, made from the same tables
"""
