"""No key of the machine the tests run on."""

from tests.desk.conftest import _keys as _keys
