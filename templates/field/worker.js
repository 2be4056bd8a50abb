{% comment %}The service worker of field capture. `files` and `version` come from itm/web/field.py.{% endcomment %}// Keeps the page itself on the device, and nothing that belongs to a person: days and entries lie in
// the person's own database. A new version is a new list under a new name; the old one goes.
"use strict";

const NAME = "itm-field-{{ version }}";
const PAGE = "{{ page }}";
const FILES = {{ files|safe }};

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches
      .open(NAME)
      .then((kept) => kept.addAll(FILES.map((file) => new Request(file, { cache: "reload" }))))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) =>
        Promise.all(
          names
            .filter((name) => name.startsWith("itm-field-") && name !== NAME)
            .map((name) => caches.delete(name)),
        ),
      )
      .then(() => self.clients.claim()),
  );
});

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method !== "GET" || address.origin !== self.location.origin) return;
  const path = event.request.mode === "navigate" && address.pathname === PAGE ? PAGE : address.pathname;
  if (!FILES.includes(path)) return;
  event.respondWith(
    caches
      .open(NAME)
      .then((kept) => kept.match(path, { ignoreVary: true }))
      .then((found) => found ?? fetch(event.request)),
  );
});
