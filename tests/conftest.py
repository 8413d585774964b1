"""Settings for every test: hypothesis without clocks and with the same examples each time."""

from hypothesis import HealthCheck, settings

settings.register_profile(
    "steady", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], max_examples=60
)
settings.load_profile("steady")
