import pytest

from shop.kernel import clock


@pytest.fixture(autouse=True)
def store(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def mid_hour():
    """Tries are counted by the hour: a test that counts them may not run across its end."""
    with clock.at(clock.now().replace(minute=30)) as moment:
        yield moment
