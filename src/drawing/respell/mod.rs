//! Style sheets and styles, spelled in the way in which the CSS library reads them.
//!
//! Input: the parsed document. Output: its text with the same meaning, and what was found on the way. Every
//! change keeps its number of characters, filled up with blanks, so that rows and columns of the original
//! hold all along.
//!
//! - Names of properties and plain words in any case (CSS Syntax 3, 1.2; CSS Values 4, 2.4), and `initial`;
//! - `!important` with blanks, in any case (CSS Cascade 4, 6.4);
//! - rules in `@media screen` count like others, those for print and the like not at all;
//! - custom properties given at the root, or what stands behind their comma (CSS Variables 1), where the value
//!   fits;
//! - colours in any notation of the sRGB space (CSS Color 4);
//! - a declaration that can't be read, and a faulty list of dashes, is taken out alone, and told: the
//!   library would drop all that follow, or half of it;
//! - a value that means nothing is taken out, and told, so that what is inherited holds; so is a length that
//!   is none by CSS (`40 px`, `2.e1`), which the library may read; of the page's size the survey tells it;
//! - names in links are written out where they are percent-encoded (URL Standard, fragments); blanks in names become
//!   such as part nothing;
//! - a rule within a rule is taken out, and told.

mod colours;
mod scan;
mod selectors;
mod variables;
mod words;

use std::collections::HashSet;
use std::ops::Range;

use simplecss::DeclarationTokenizer;
use usvg::roxmltree::{Document, Node};

use super::lines::LineTable;
use super::survey::{is_for_screens, local_url, quoted, shortened, unreadable};
use crate::finding::Finding;
use variables::Variables;

/// The respelled text, if anything was to be changed, and what could not be read.
pub(super) fn respelled<'a>(doc: &'a Document<'a>) -> (Option<String>, Vec<Finding>) {
    let mut pen = Pen {
        text: doc.input_text(),
        changed: Vec::new(),
        styles: Vec::new(),
        attributes: Vec::new(),
        custom: Variables::default(),
        alpha_masks: alpha_masks(doc),
        findings: Vec::new(),
    };
    // What an entity stands for has no place of its own.
    let begin = doc.root_element().range().start;
    let own = |node: &Node<'_, '_>| node.is_element() && node.range().start >= begin;
    for node in doc.descendants().filter(own) {
        pen.element(node);
    }
    pen.variables();
    let placed = pen.findings;
    let lines = (!placed.is_empty()).then(|| LineTable::new(doc.input_text()));
    let findings = placed.into_iter().zip(lines.iter().cycle());
    let findings = findings.map(|((at, finding), lines)| finding.at(lines.place(at))).collect();
    (rewritten(doc.input_text(), pen.changed), findings)
}

/// `text` with the changes made, each padded to the length of its place; one that is too long
/// for it is left out.
fn rewritten(text: &str, mut changed: Vec<(Range<usize>, String)>) -> Option<String> {
    if changed.is_empty() {
        return None;
    }
    changed.sort_by_key(|(range, _)| range.start);
    let mut out = String::with_capacity(text.len());
    let mut done = 0;
    for (range, new) in &changed {
        let length = new.chars().count();
        if range.start < done || length > text[range.clone()].chars().count() {
            continue;
        }
        out.push_str(&text[done..range.start]);
        out.push_str(new);
        // Lines stay lines.
        let rest = text[range.clone()].chars().skip(length);
        out.extend(rest.map(|c| if c == '\n' { '\n' } else { ' ' }));
        done = range.end;
    }
    out.push_str(&text[done..]);
    Some(out)
}

/// Rules in rules deeper than this are left alone; the survey tells them.
const MOST_NESTED: usize = 8;

struct Pen<'a> {
    text: &'a str,
    changed: Vec<(Range<usize>, String)>,
    /// Where styles stand.
    styles: Vec<Range<usize>>,
    /// Attributes that ask for custom properties.
    attributes: Vec<Range<usize>>,
    custom: Variables<'a>,
    /// Masks that say of themselves that they go by opacity.
    alpha_masks: HashSet<&'a str>,
    /// What was found, and at which byte.
    findings: Vec<(usize, Finding)>,
}

/// Where the parts of one declaration stand.
struct Declaration {
    piece: Range<usize>,
    /// Behind its semicolon.
    end: usize,
    name: Range<usize>,
    value: Range<usize>,
    /// Whether it is given for the root.
    of_root: bool,
}

impl<'a> Pen<'a> {
    fn element(&mut self, node: Node<'_, '_>) {
        if node.tag_name().name() == "style" {
            if matches!(node.attribute("type"), None | Some("text/css")) {
                // What an entity stands for lies elsewhere.
                let own = |range: &Range<usize>| node.range().contains(&range.start);
                let texts = node.children().filter(Node::is_text).map(|text| text.range());
                for range in texts.filter(own).collect::<Vec<_>>() {
                    let range = within_cdata(self.text, range);
                    self.styles.push(range.clone());
                    self.sheet(range, 0);
                }
            }
            return;
        }
        for link in node.attributes().filter(|a| a.name() == "href") {
            self.link(link.range_value());
        }
        for attribute in node.attributes().filter(|a| a.namespace().is_none()) {
            let range = attribute.range_value();
            let (name, value) = (attribute.name(), attribute.value());
            if name == "id" && value.contains(' ') {
                let name = without_blanks(&self.text[range.clone()]);
                self.write(range, name);
            } else if name == "style" {
                self.styles.push(range.clone());
                self.declarations(range, node.parent_element().is_none());
            } else if words::means_nothing(name, value)
                || words::is_faulty_length(name, value) && has_lengths(node)
            {
                let finding = unreadable(name, value, node.tag_name().name());
                self.findings.push((node.range().start, finding.hint(hint(name))));
                self.write(attribute.range_qname().start..range.end + 1, "");
            } else if value.contains("var(") {
                self.attributes.push(range);
            } else if value.starts_with("url(") {
                self.links(range);
            } else if let Some((value, word)) = self.word(name, range.clone()) {
                // Attributes know no blanks at their ends: those go after the quotation mark.
                let quote = &self.text[range.end..range.end + 1];
                self.changed.push((value.start..range.end + 1, word + quote));
            }
        }
    }

    /// Writes the name in a link as its element has it; blanks go after the quotation mark.
    fn link(&mut self, range: Range<usize>) {
        let Some(name) = decoded(&self.text[range.clone()]) else { return };
        let quote = &self.text[range.end..range.end + 1];
        self.changed.push((range.start..range.end + 1, name + quote));
    }

    /// The same of the links within `url()`.
    fn links(&mut self, range: Range<usize>) {
        const OPENING: &str = "url(";
        let text = self.text;
        for (at, _) in text[range.clone()].match_indices(OPENING) {
            let start = range.start + at + OPENING.len();
            let Some(length) = text[start..range.end].find(')') else { continue };
            let link = &text[start..start + length];
            if link.trim().starts_with('#') && link.trim().contains(' ') {
                // Without quotation marks, that is no link (CSS Syntax 3, 4.3.6).
                continue;
            }
            if let Some(name) = decoded(link) {
                self.changed.push((start..start + length + 1, name + ")"));
            }
        }
    }

    fn write(&mut self, range: Range<usize>, new: impl Into<String>) {
        self.changed.push((range, new.into()));
    }

    /// Rules one after the other.
    fn sheet(&mut self, range: Range<usize>, depth: usize) {
        let mut at = range.start;
        while at < range.end {
            let from = self.past_blanks(at..range.end);
            let stop = scan::until(self.text, from..range.end, b"{;}");
            let opens = self.text.as_bytes().get(stop) == Some(&b'{') && stop < range.end;
            let close = match opens {
                true => scan::until(self.text, stop + 1..range.end, b"}"),
                false => stop,
            };
            match self.text[from..stop].strip_prefix('@') {
                Some(_) if !opens => self.encoding(from..stop, range.end),
                Some(rule) if is_media(rule) && depth < MOST_NESTED => {
                    let end = (close + 1).min(range.end);
                    if self.media(from..stop, from..end) {
                        self.sheet(stop + 1..close, depth + 1);
                        self.write(close..end, "");
                    }
                }
                Some(_) => {}
                None if opens => self.rule(scan::trimmed(self.text, from..stop), stop + 1..close),
                None => {}
            }
            at = close + 1;
        }
    }

    /// The byte after blanks and comments.
    fn past_blanks(&self, range: Range<usize>) -> usize {
        let mut at = range.start;
        loop {
            let rest = &self.text[at..range.end];
            at = range.end - rest.trim_start().len();
            if !self.text[at..range.end].starts_with("/*") {
                return at;
            }
            at = scan::comment_end(self.text, at, range.end);
        }
    }

    /// An encoding says nothing here.
    fn encoding(&mut self, rule: Range<usize>, end: usize) {
        if self.text[rule.clone()].starts_with("@charset") {
            self.write(rule.start..(rule.end + 1).min(end), "");
        }
    }

    /// Opens what is `whole` for screens, which is true, and closes what is for others.
    fn media(&mut self, head: Range<usize>, whole: Range<usize>) -> bool {
        let media = &self.text[head.start + MEDIA.len()..head.end];
        if is_for_screens(media) {
            self.write(head.start..head.end + 1, "");
            return true;
        }
        if !media.contains('(') {
            let text = format!(
                "style rules for other media than a screen ({}) are not read.",
                quoted(&shortened(media.trim()))
            );
            self.findings.push((head.start, Finding::note("style-media", text)));
            self.write(whole, "");
        }
        false
    }

    fn rule(&mut self, selector: Range<usize>, body: Range<usize>) {
        let list = &self.text[selector.clone()];
        if !selectors::are_known(list) {
            let text = format!(
                "the style rule {} holds for nothing: one of its selectors is none, so viewers pass over it, \
                 too.",
                quoted(&shortened(list))
            );
            let hint = "Correct the selector, or take the rule out.";
            let finding = Finding::warning("style-rule-ignored", text).hint(hint);
            self.findings.push((selector.start, finding));
            let after = (body.end + 1).min(self.text.len());
            return self.write(selector.start..after, "");
        }
        if list.contains(['(', '[']) && !self.without_lists(selector.clone(), body.end) {
            return;
        }
        let parts = || list.split(',').map(str::trim);
        let of_root = parts().all(|part| matches!(part, ":root" | "svg" | "*"));
        if of_root && parts().all(|part| part != "*") && parts().any(|part| part == ":root") {
            self.write(selector, "svg");
        }
        self.declarations(body, of_root);
    }

    /// Tells selectors with a list in brackets, which the CSS library would part at its commas, and takes them
    /// out of a rule, the rule with the last of them. False if it is gone.
    fn without_lists(&mut self, selector: Range<usize>, end: usize) -> bool {
        let text = self.text;
        let (mut at, mut read) = (selector.start, Vec::new());
        let mut lists = false;
        while at < selector.end {
            let stop = scan::until(text, at..selector.end, b",");
            let one = &text[scan::trimmed(text, at..stop)];
            if one.contains(',') && !one.contains(['"', '\'', '&']) && !one.contains("/*") {
                lists = true;
                let text = format!("the style rule {} is not read.", quoted(&shortened(one)));
                let finding = Finding::warning("style-rule-ignored", text).hint(PLAIN_STYLES);
                self.findings.push((at, finding));
            } else {
                read.push(one);
            }
            at = stop + 1;
        }
        if read.is_empty() {
            self.write(selector.start..(end + 1).min(text.len()), "");
        } else if lists {
            self.write(selector, read.join(","));
        }
        !read.is_empty()
    }

    fn declarations(&mut self, range: Range<usize>, of_root: bool) {
        let mut at = range.start;
        while at < range.end {
            let stop = scan::until(self.text, at..range.end, b";{");
            if stop < range.end && self.text.as_bytes()[stop] == b'{' {
                at = self.nested(at, stop, range.end);
                continue;
            }
            self.declaration(at..stop, (stop + 1).min(range.end), of_root);
            at = stop + 1;
        }
    }

    /// Takes a rule within a rule out; the byte after it.
    fn nested(&mut self, from: usize, opens: usize, end: usize) -> usize {
        let close = scan::until(self.text, opens + 1..end, b"}");
        let head = scan::trimmed(self.text, from..opens);
        let text =
            format!("the style rule {} is not read.", quoted(&shortened(&self.text[head.clone()])));
        let finding = Finding::warning("style-rule-ignored", text).hint(PLAIN_STYLES);
        self.findings.push((head.start, finding));
        let after = (close + 1).min(end);
        self.write(from..after, "");
        after
    }

    /// One declaration within `range`; `end` is behind its semicolon.
    fn declaration(&mut self, range: Range<usize>, end: usize, of_root: bool) {
        let from = self.past_blanks(range.clone());
        let piece = scan::trimmed(self.text, from..range.end);
        let given = &self.text[piece.clone()];
        if piece.is_empty() {
            // The library takes no semicolon that ends nothing.
            return self.write(range.start..end, "");
        }
        if given.contains("/*") || given.contains('&') {
            return self.links(piece);
        }
        let colon = scan::until(self.text, piece.clone(), b":");
        let name = scan::trimmed(self.text, piece.start..colon);
        if colon == piece.end || !is_name(&self.text[name.clone()]) {
            return self.unreadable(piece, end, "Write a name, a colon and a value.");
        }
        let value = self.without_important(scan::trimmed(self.text, colon + 1..piece.end));
        self.named(Declaration { piece, end, name, value, of_root });
    }

    fn named(&mut self, declaration: Declaration) {
        let Declaration { piece, end, name, value, of_root } = declaration;
        let text = self.text;
        let word = &text[name.clone()];
        if word.starts_with("--") {
            match of_root {
                true => self.custom.of_root(word, &text[value]),
                false => self.custom.of_other(word, piece.start),
            }
            return self.write(piece.start..end, "");
        }
        let small = word.to_ascii_lowercase();
        let given = &text[value.clone()];
        let words = ["none", "inherit", "initial"];
        let is_word = words.iter().any(|word| given.eq_ignore_ascii_case(word));
        let is_function = given.contains('(');
        if small == "stroke-dasharray" && !is_word && !is_function && !words::is_dash_list(given) {
            return self.unreadable(piece, end, "Write lengths, none of them below zero.");
        }
        if small == "stroke-width" && !is_word && !is_function && !words::is_length(given)
            || words::is_undone(given)
        {
            return self.unreadable(piece, end, "Write a value, a length with a unit if need be.");
        }
        if words::means_nothing(&small, given) {
            return self.unreadable(piece, end, hint(&small));
        }
        if small != word {
            self.write(name, small.as_str());
        }
        if given.starts_with("url(") {
            self.links(value.clone());
        }
        if small == "font" {
            self.line_height(value.clone());
        }
        if small == "mask" {
            self.mask_words(value.clone());
        }
        if let Some((value, word)) = self.word(&small, value) {
            self.write(value, word);
        }
    }

    /// Takes words behind a mask's name out, since the library takes none; told are those that ask for
    /// something else than is done.
    fn mask_words(&mut self, value: Range<usize>) {
        let text = self.text;
        let close = text[value.clone()].find(')').map(|at| value.start + at + 1);
        let Some(close) = close.filter(|close| *close < value.end) else { return };
        let id = local_url(&text[value.start..close]).unwrap_or_default();
        let words = scan::trimmed(text, close..value.end);
        let by_alpha = self.alpha_masks.contains(id);
        let usual = |word: &str| match word {
            "luminance" => !by_alpha,
            "alpha" => by_alpha,
            word => word == "match-source",
        };
        if text[words.clone()].contains(['(', ',']) {
            return;
        }
        if !text[words.clone()].split_whitespace().all(usual) {
            let measure = if by_alpha { "opacity" } else { "luminance" };
            let text = format!(
                "{} behind the mask {} is not followed; the mask is taken by its {measure}.",
                quoted(&shortened(&text[words])),
                quoted(id)
            );
            let hint = "Say of the mask itself what its mask-type is.";
            self.findings.push((value.start, Finding::warning("style-mask", text).hint(hint)));
        }
        self.write(close..value.end, "");
    }

    /// Takes the height of lines out of a font: the library does not know it, and no line is broken here.
    fn line_height(&mut self, value: Range<usize>) {
        let slash = scan::until(self.text, value.clone(), b"/");
        let rest = self.text.get(slash + 1..value.end).unwrap_or_default();
        let height = rest.trim_start();
        let blanks = rest.len() - height.len();
        if let Some(length) = height.find(char::is_whitespace) {
            self.write(slash..slash + 1 + blanks + length, "");
        }
    }

    /// Another spelling of a value that is one plain word or a colour, and where that stands.
    fn word(&self, name: &str, value: Range<usize>) -> Option<(Range<usize>, String)> {
        let value = scan::trimmed(self.text, value);
        let word = &self.text[value.clone()];
        if let Some(colour) = words::colour(name, word) {
            return Some((value, colour));
        }
        let plain = word.bytes().all(|b| b.is_ascii_alphabetic() || b == b'-');
        if word.is_empty() || !plain {
            return None;
        }
        Some((value, words::spelled(name, word)?))
    }

    /// The value before `!important`, which is spelled anew.
    fn without_important(&mut self, value: Range<usize>) -> Range<usize> {
        let mark = scan::until(self.text, value.clone(), b"!");
        let given = self.text.get(mark + 1..value.end).unwrap_or_default();
        if mark == value.end || !given.trim().eq_ignore_ascii_case("important") {
            return value;
        }
        if given != "important" {
            self.write(mark..value.end, "!important");
        }
        scan::trimmed(self.text, value.start..mark)
    }

    fn unreadable(&mut self, piece: Range<usize>, end: usize, hint: &str) {
        let shown = quoted(&shortened(&self.text[piece.clone()]));
        let text = format!("the style {shown} can't be read; it is taken as not given.");
        let finding = Finding::warning("value-unreadable", text).hint(hint);
        self.findings.push((piece.start, finding));
        self.write(piece.start..end, "");
    }

    /// Writes values in place of the variables that ask for them, as far as they fit.
    fn variables(&mut self) {
        for range in std::mem::take(&mut self.attributes) {
            let (text, quote) = (&self.text[range.clone()], &self.text[range.end..=range.end]);
            // Attributes know no blanks at their ends: those go after the quotation mark.
            if let [(all, value)] = self.custom.uses(text.trim()).as_slice()
                && all.len() == text.trim().len()
            {
                let value = format!("{value}{quote}");
                self.write(range.start..range.end + 1, value);
            }
        }
        for style in std::mem::take(&mut self.styles) {
            for (range, value) in self.custom.uses(&self.text[style.clone()]) {
                self.write(style.start + range.start..style.start + range.end, value);
            }
        }
        for (at, name) in self.custom.given_anew() {
            let text = format!(
                "the variable {} is given anew here, which is not followed; its value at the root of the \
                 drawing is taken.",
                quoted(&shortened(name))
            );
            self.findings.push((at, Finding::warning("style-variable", text).hint(PLAIN_STYLES)));
        }
    }
}

/// Masks that go by opacity (CSS Masking 1, 7.10.1).
fn alpha_masks<'a>(doc: &'a Document<'a>) -> HashSet<&'a str> {
    if !doc.input_text().contains("mask-type") {
        return HashSet::new();
    }
    let by_alpha = |node: &Node<'_, '_>| {
        let style = node.attribute("style").unwrap_or_default();
        let styled = DeclarationTokenizer::from(style).filter(|d| d.name == "mask-type").last();
        let given = styled.map(|d| d.value).or(node.attribute("mask-type"));
        given.is_some_and(|kind| kind.trim().eq_ignore_ascii_case("alpha"))
    };
    let masks = doc.descendants().filter(|node| node.tag_name().name() == "mask");
    masks.filter(by_alpha).filter_map(|mask| mask.attribute("id")).collect()
}

/// Whether the element takes single lengths, and what is none of them says nothing: texts take lists, and
/// the page is worth a guess.
fn has_lengths(node: Node<'_, '_>) -> bool {
    let is_text = matches!(node.tag_name().name(), "text" | "tspan" | "tref" | "altGlyph");
    !is_text && node.parent_element().is_some()
}

/// What to write instead of a value that can't be read.
pub(super) fn hint(name: &str) -> &'static str {
    match name {
        "fill" | "stroke" | "color" => "Write a colour by its name or as #rrggbb, or none.",
        "fill-rule" | "clip-rule" => "Write nonzero or evenodd.",
        "stroke-linecap" => "Write butt, round or square.",
        "stroke-linejoin" => "Write miter, round or bevel.",
        "text-anchor" => "Write start, middle or end.",
        "visibility" => "Write visible or hidden.",
        "transform" => "Write translate, scale, rotate, skewX, skewY or matrix with plain numbers.",
        _ => "Write a number with digits behind its point, its unit right behind it.",
    }
}

/// A link to an element of this drawing, its name percent-decoded and without blanks, if that changes it and
/// all of it can stand in one.
fn decoded(link: &str) -> Option<String> {
    let (opening, rest) = link.split_at(link.find('#')?);
    let quote = Some(opening.trim()).filter(|quote| QUOTES.contains(quote))?;
    let (given, closing) = rest.split_at(rest.trim_end().strip_suffix(quote)?.trim_end().len());
    if !given.contains(['%', ' ']) {
        return None;
    }
    let mut bytes = Vec::with_capacity(given.len());
    let mut rest = given.as_bytes();
    while let [first, others @ ..] = rest {
        let code = others.get(..2).filter(|_| *first == b'%');
        let code = code.and_then(|code| std::str::from_utf8(code).ok());
        let code = code.and_then(|code| u8::from_str_radix(code, 16).ok());
        bytes.push(code.unwrap_or(*first));
        rest = if code.is_some() { &others[2..] } else { others };
    }
    let name = String::from_utf8(bytes).ok()?;
    let marks = |text: &str| text.matches(['"', '\'', '<', '&', '(', ')', ';', '\\']).count();
    let is_plain = !name.contains(char::is_control) && marks(&name) == marks(given);
    let name = without_blanks(&name);
    (is_plain && name != given).then(|| [opening, &name, closing].concat())
}

/// What may stand around a link.
const QUOTES: [&str; 5] = ["", "\"", "'", "&quot;", "&apos;"];

/// A name with blanks that part nothing: the library ends names at others.
fn without_blanks(name: &str) -> String {
    name.replace([' ', '\t', '\n', '\r'], "\u{a0}")
}

/// What to do about a style that is not read.
const PLAIN_STYLES: &str = "Save the drawing again as plain SVG, with styles as attributes.";

const MEDIA: &str = "@media";

/// Whether a rule is one of media; comments within it leave it as it is.
fn is_media(rule: &str) -> bool {
    let name = rule.get(..MEDIA.len() - 1).unwrap_or_default();
    let next = rule.as_bytes().get(MEDIA.len() - 1);
    let ends = next.is_none_or(|b| !b.is_ascii_alphanumeric() && *b != b'-');
    name.eq_ignore_ascii_case("media") && ends && !rule.contains("/*")
}

fn is_name(name: &str) -> bool {
    let is_part = |c: char| c.is_alphanumeric() || c == '-' || c == '_';
    !name.is_empty() && name.chars().all(is_part)
}

/// The text between the marks of a CDATA section, if it is one.
fn within_cdata(text: &str, range: Range<usize>) -> Range<usize> {
    let (opening, closing) = ("<![CDATA[", "]]>");
    let inside = text.get(range.clone()).unwrap_or_default();
    match inside.strip_prefix(opening).and_then(|inside| inside.strip_suffix(closing)) {
        Some(_) => range.start + opening.len()..range.end - closing.len(),
        None => range,
    }
}
