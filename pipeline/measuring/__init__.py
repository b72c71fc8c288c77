"""Numbers from measured originals and samples: features, uncertainty, verdicts, nominals, gauge studies.

Everything here is pure: arrays and plain values in, frozen results out, no files. Lengths are millimetres
unless an argument says otherwise. Impossible arguments raise ``ValueError`` with a sentence that says what
was given and what would be right. Each result names the method that produced it, because several legitimate
methods give different answers for one data set.
"""
