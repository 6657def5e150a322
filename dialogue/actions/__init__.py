"""The actions of the domain, registered one by one on an executor; they hold no arithmetic, no query and no text."""

from rasa_sdk.executor import ActionExecutor

from dialogue.actions import advice, bench, consult, drop_off, feel, practise, readings, records, talk, whose
from dialogue.actions.base import CounterAction
from dialogue.services import Services

ACTIONS: tuple[type[CounterAction], ...] = (
    consult.ValidateConsultationForm,
    consult.Decide,
    consult.TellVerdict,
    consult.Explain,
    consult.ExplainQuestion,
    consult.WhatIf,
    consult.NotKnown,
    consult.Operate,
    talk.Note,
    talk.ReadBack,
    talk.Settle,
    talk.AskBack,
    talk.NotUnderstood,
    talk.OutOfScope,
    talk.CallStaff,
    talk.NextRacquet,
    talk.Offer,
    talk.AnswerOffer,
    whose.FindCustomer,
    whose.AskWhich,
    whose.Choose,
    records.Keep,
    records.HandOver,
    readings.LogReading,
    advice.Advise,
    advice.WeighAdvice,
    advice.TellAdvice,
    feel.SameFeel,
    feel.WeighFeel,
    feel.TellFeel,
    advice.ExplainAdvice,
    advice.AnswerAdvice,
    advice.AskSameAs,
    advice.AskStrings,
    advice.AskTension,
    drop_off.LookOver,
    drop_off.AskWish,
    drop_off.WhichProduct,
    consult.AskGroup,
    drop_off.DropOff,
    records.TellDue,
    records.ForgetContact,
    bench.MarkStrung,
    bench.TellBench,
    bench.ShowLabel,
    bench.TakeBack,
    practise.Practise,
    practise.RideAlong,
)
"""Every action there is; a class that is not here does not exist for the conversation."""


def build_executor(services: Services) -> ActionExecutor:
    """Return an executor with every action registered on it, each with the services it may use."""
    executor = ActionExecutor()
    for action in ACTIONS:
        executor.register_action(action(services))
    return executor
