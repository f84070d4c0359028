window.ui = SwaggerUIBundle({
  url: "/openapi.json",
  dom_id: "#reference",
  deepLinking: true,
  docExpansion: "list",
  defaultModelsExpandDepth: 0,
  validatorUrl: null,
});
