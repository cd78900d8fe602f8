"""What is given: branch, main pipe, metals, surfaces, surroundings, engine, closures.

Public: every module; ``case.Case`` gathers them.
"""
