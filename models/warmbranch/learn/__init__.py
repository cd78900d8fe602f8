"""From finished jobs to what they say of the next one.

Public: ``solve.learn``, ``summary.summary_of`` and what they take and give.
"""
