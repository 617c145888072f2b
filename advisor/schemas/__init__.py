"""JSON Schemas (2020-12), an AsyncAPI document and the page of messages, made from the field tables of the wire."""
