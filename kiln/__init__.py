"""The wood: pure physics, estimation and judgement. Arrays and small records in, the same out; no I/O."""
