//! A JSON Schema of the rule language, for editors.

use cycle::Subject;
use serde_json::{Map, Value, json};

/// The kinds of rule, and which keys each may have besides those that all have.
pub const KINDS: [(&str, &[&str]); 6] = [
    ("presence", &["landmark"]),
    (
        "timing",
        &["landmark", "with", "before", "after", "between", "by_ms", "by_mm", "share", "aim"],
    ),
    ("height", &["landmark", "level_with", "above", "below", "between", "by", "share", "aim"]),
    ("level", &["channel", "at", "level"]),
    ("shape", &["channel", "from", "to", "shape"]),
    ("label", &["landmark", "label"]),
];

/// The keys of which a kind needs all, and those of which it needs exactly one.
fn needed(kind: &str) -> (&'static [&'static str], &'static [&'static str]) {
    match kind {
        "presence" => (&["landmark"], &[]),
        "timing" => (&["landmark"], &["with", "before", "after", "between"]),
        "height" => (&["landmark"], &["level_with", "above", "below", "between"]),
        "level" => (&["channel", "at", "level"], &[]),
        "shape" => (&["from", "to", "shape"], &[]),
        _ => (&["landmark", "label"], &[]),
    }
}

/// The JSON Schema (draft 2020-12) of a convention about `subject`.
///
/// It lists the subject's landmarks, events, channels and bars, so that an editor offers
/// them. What depends on the panels (whether a landmark's channel is drawn) is left to
/// [`crate::Convention::from_toml`].
pub fn schema(subject: &Subject) -> Value {
    let marks = subject.landmarks.iter().flat_map(|kind| {
        let qualified = kind.channels.iter().filter(|_| kind.channels.len() > 1);
        let qualified = qualified.map(|channel| format!("{}@{channel}", kind.id));
        std::iter::once(kind.id.clone()).chain(qualified)
    });
    let points: Vec<String> =
        marks.chain(subject.events.iter().map(|kind| kind.id.clone())).collect();
    let channels: Vec<&str> = subject.channels.iter().map(|kind| kind.id.as_str()).collect();
    let bars: Vec<&str> = subject.bars.iter().map(|bar| bar.id.as_str()).collect();
    let kinds: Vec<Value> = KINDS.iter().map(|(kind, keys)| rule(kind, keys)).collect();
    let positive =
        |about: &str| json!({"type": "number", "exclusiveMinimum": 0, "description": about});
    let line = |about: &str| json!({"type": "string", "minLength": 1, "description": about});
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": format!("Convention: {}", subject.title),
        "type": "object",
        "required": ["title", "simplifies", "panels", "rules"],
        "additionalProperties": false,
        "properties": {
            "title": line("Title shown to people"),
            "about": line("What the convention is for"),
            "simplifies": line("What it simplifies, in a sentence an instructor can say"),
            "panels": {
                "type": "array", "minItems": 1,
                "items": {"type": "array", "minItems": 1, "items": {"enum": channels}},
                "description": "Channels to draw, panel by panel from top to bottom",
            },
            "bars": {"type": "array", "items": {"enum": bars}},
            "mm_per_s": positive("Time scale on paper; 100 if not given"),
            "tolerance_mm": positive("Tolerance on paper in millimetres; 2 if not given"),
            "half_tolerance_mm": positive("What is off by no more than this on paper earns half the points; no half marks if not given"),
            "tolerance_ms": positive("Tolerance of times in measured cycles in milliseconds; 20 if not given"),
            "tolerance_percent": positive("Tolerance of heights in measured cycles, in hundredths of the trace's own height; 5 if not given"),
            "caps": {
                "type": "object", "additionalProperties": {"type": "number", "exclusiveMinimum": 0},
                "description": "What rules that share a cap earn together at most, by the cap's name",
            },
            "reference_missing": {
                "enum": ["ask", "not_met", "does_not_count"],
                "description": "What becomes of a rule that measures by what a student did not draw; ask if not given",
            },
            "rules": {"type": "array", "minItems": 1, "items": {"oneOf": kinds}},
            "steps": {"type": "array", "items": {
                "type": "object", "required": ["draw"], "additionalProperties": false,
                "properties": {
                    "draw": {"type": "array", "minItems": 1, "items": {"type": "string"},
                        "description": "Strokes, landmarks or events that the step draws"},
                    "text": line("What to draw, in place of what the rules say"),
                    "cause": line("Why, in place of what the rules say"),
                },
            }},
        },
        "$defs": {
            "point": {"enum": points},
            "channel": {"enum": channels},
            "amount": {"oneOf": [
                {"type": "number"},
                {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
            ]},
        },
    })
}

/// The schema of one kind of rule.
fn rule(kind: &str, keys: &[&str]) -> Value {
    let mut properties = Map::new();
    let text = json!({"type": "string", "minLength": 1});
    let positive = json!({"type": "number", "exclusiveMinimum": 0});
    properties.insert("id".into(), text.clone());
    properties.insert("kind".into(), json!({"const": kind}));
    properties
        .insert("text".into(), json!({"type": "string", "description": "What the student reads"}));
    properties.insert(
        "cause".into(),
        json!({"type": "string", "description": "Why it holds, in one sentence"}),
    );
    properties.insert("points".into(), json!({"type": "number", "minimum": 0}));
    properties.insert(
        "depends_on".into(),
        json!({"type": "array", "items": text, "description": "Rules above it without which it earns nothing"}),
    );
    properties.insert(
        "cap".into(),
        json!({"type": "string", "minLength": 1, "description": "The cap that it shares"}),
    );
    for key in ["tolerance_mm", "half_tolerance_mm", "tolerance_ms", "tolerance_percent"] {
        properties.insert(key.into(), positive.clone());
    }
    for &key in keys {
        let point = json!({"$ref": "#/$defs/point"});
        let value = match key {
            "between" => json!({"type": "array", "items": point, "minItems": 2, "maxItems": 2}),
            "by_ms" | "by_mm" | "by" | "share" => json!({"$ref": "#/$defs/amount"}),
            "aim" => json!({"type": "number"}),
            "channel" => json!({"$ref": "#/$defs/channel"}),
            "level" => json!({"anyOf": [{"const": "baseline"}, point]}),
            "shape" => json!({"enum": ["rising", "falling", "flat"]}),
            "label" => json!({"oneOf": [text, {"type": "array", "items": text, "minItems": 1}]}),
            _ => point,
        };
        properties.insert(key.into(), value);
    }
    let (all, one) = needed(kind);
    let required: Vec<&str> = ["id", "kind", "text", "cause"].iter().chain(all).copied().collect();
    let mut schema = json!({
        "type": "object",
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    });
    if !one.is_empty() {
        let one: Vec<Value> = one.iter().map(|key| json!({"required": [key]})).collect();
        schema["oneOf"] = Value::Array(one);
    }
    schema
}
