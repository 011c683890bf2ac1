// The time zone of this browser, as a first guess of the venue's.
"use strict";
for (const field of document.querySelectorAll('[name="time_zone"]')) field.value ||= Intl.DateTimeFormat().resolvedOptions().timeZone;
