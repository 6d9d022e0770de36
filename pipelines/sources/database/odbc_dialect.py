"""Any database by its ODBC driver: the query is the works' own, so that nothing of the server's SQL needs to be
known.
"""

from __future__ import annotations

from sqlalchemy.connectors.pyodbc import PyODBCConnector
from sqlalchemy.dialects import registry
from sqlalchemy.engine import URL
from sqlalchemy.engine.default import DefaultDialect
from sqlalchemy.engine.interfaces import ConnectArgsType


class AnyByOdbc(PyODBCConnector, DefaultDialect):
    """Binds by position, asks a server nothing about itself."""

    name = "odbc"
    supports_statement_cache = True
    default_paramstyle = "qmark"

    def create_connect_args(self, url: URL) -> ConnectArgsType:
        """As the connector makes them, with the password in braces: what stands in them is read letter for letter."""
        password = url.password
        (text,), more = super().create_connect_args(url._replace(password=None))
        if password is not None:
            text += f";PWD={{{password.replace('}', '}}')}}}"
        return (text,), more


registry.register("odbc", __name__, AnyByOdbc.__name__)
