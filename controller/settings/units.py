"""The few unit factors every layer shares."""

UM_PER_MM = 1000.0
S_PER_MS = 0.001
