"""The visits that are sent are those of the desk's tests."""

from tests.desk.conftest import _keys as _keys
from tests.desk.conftest import season as season
