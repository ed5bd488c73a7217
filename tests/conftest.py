"""Settings of all tests. Standing here, this file also puts tests/ on the import path: see workshop.py."""

from hypothesis import HealthCheck, settings

from workshop import EFFORT, examples

settings.register_profile("jackrail", examples(40), derandomize=EFFORT == 1, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("jackrail")
