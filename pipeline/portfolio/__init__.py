"""The sequence: read, link, trace, judge, cost, plan; one readable function, timed step by step."""
