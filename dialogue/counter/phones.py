"""Phone numbers in any national form, kept in E.164; knows no customer."""

from __future__ import annotations

import phonenumbers
from phonenumbers import PhoneNumberFormat, PhoneNumberType

from dialogue.counter.outcomes import refuse

FOLLOWS_ITS_COUNTRY_CODE = "+"


def read_phone(said: str, region: str) -> str:
    """Return a phone number in E.164, read as dialled in a region. Refuses what is no number there."""
    known = region.upper() in phonenumbers.SUPPORTED_REGIONS
    if not known and not said.strip().startswith(FOLLOWS_ITS_COUNTRY_CODE):
        raise refuse("region_unknown", "phone", value=region)
    try:
        number = phonenumbers.parse(said, region.upper() if known else None)
    except phonenumbers.NumberParseException as error:
        raise refuse("phone_unreadable", "phone", value=said[:40], region=region.upper()) from error
    if not phonenumbers.is_valid_number(number):
        raise refuse("phone_invalid", "phone", value=said[:40], region=region.upper(), example=example_of(region))
    return phonenumbers.format_number(number, PhoneNumberFormat.E164)


def show_phone(phone: str | None) -> str | None:
    """Return a stored number as people write it, with its country code; what is no number stays as it is."""
    if not phone:
        return None
    try:
        return phonenumbers.format_number(phonenumbers.parse(phone, None), PhoneNumberFormat.INTERNATIONAL)
    except phonenumbers.NumberParseException:
        return phone


def example_of(region: str) -> str:
    """Return how a number of a region looks."""
    number = phonenumbers.example_number_for_type(region.upper(), PhoneNumberType.FIXED_LINE)
    return phonenumbers.format_number(number, PhoneNumberFormat.NATIONAL) if number else "+12025550143"
