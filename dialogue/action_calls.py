"""One call of the action-server protocol: runs the action, gives status and body; knows no transport."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rasa_sdk.executor import ActionExecutor
from rasa_sdk.interfaces import (
    ActionExecutionRejection,
    ActionMissingDomainException,
    ActionNotFoundException,
)


@dataclass(frozen=True)
class ActionAnswer:
    """What goes back to the caller."""

    status: int
    body: Any


class ActionCalls:
    """Runs calls of the protocol on an executor."""

    def __init__(self, executor: ActionExecutor) -> None:
        self._executor = executor

    @property
    def names(self) -> tuple[str, ...]:
        """The actions there are."""
        return tuple(sorted(self._executor.actions))

    async def answer(self, call: Mapping[str, Any]) -> ActionAnswer:
        """Return events and responses of the called action, or the protocol's own error shape."""
        if not isinstance(call.get("next_action"), str) or not isinstance(call.get("tracker"), Mapping):
            return ActionAnswer(400, {"error": "A call needs next_action and tracker.", "action_name": ""})
        try:
            result = await self._executor.run(dict(call))
        except ActionExecutionRejection as refused:
            return ActionAnswer(400, {"error": refused.message, "action_name": refused.action_name})
        except ActionNotFoundException as missing:
            return ActionAnswer(404, {"error": missing.message, "action_name": missing.action_name})
        except ActionMissingDomainException as missing:
            return ActionAnswer(449, {"error": missing.message, "action_name": missing.action_name})
        return ActionAnswer(200, result.model_dump() if result else None)
