"""Settings of all tests. Standing here, this file also puts tests/ on the import path: see workshop.py."""

from hypothesis import HealthCheck, settings

settings.register_profile("jackrail", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("search", deadline=None, max_examples=2000, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("jackrail")  # `pytest --hypothesis-profile search` looks further and elsewhere
