/* The page on which the addresses of the interface are tried. The token stays in this page's
   memory: it is gone when the page is. */
"use strict";

const place = document.getElementById("try");

SwaggerUIBundle({
  domNode: place,
  url: place.dataset.schema,
  deepLinking: true,
  docExpansion: "none",
  defaultModelsExpandDepth: -1,
  persistAuthorization: false,
  validatorUrl: null,
  presets: [SwaggerUIBundle.presets.apis],
});
