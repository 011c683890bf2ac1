// An invite's secret stands behind the # of its link, where no server and no log sees it: it goes into the form.
"use strict";

const form = document.getElementById("join");
const secret = location.hash.slice(1);
if (form && secret) {
  form.elements.link.value = secret;
  history.replaceState(null, "", location.pathname);
  form.submit(); // looking at an invite uses nothing up
}
