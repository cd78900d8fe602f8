"use strict";

// A file of its own, for the service forbids scripts within pages.
SwaggerUIBundle({
  url: "openapi.json",
  dom_id: "#routes",
  deepLinking: true,
  defaultModelsExpandDepth: 0,
  validatorUrl: null, // it would send the document to a stranger
});
