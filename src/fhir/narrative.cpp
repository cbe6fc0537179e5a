#include "fhir/narrative.hpp"

#include <algorithm>
#include <array>
#include <string_view>
#include <vector>

namespace charpie::fhir {

namespace {

// Sorted, for binary search. Elements: HTML 4.0 chapters 7 to 11 and 15, a, img, map and area.
constexpr auto allowed_elements = std::to_array<std::string_view>(
    {"a",       "abbr",   "acronym", "address", "area",   "b",        "bdo", "big",   "blockquote", "br",
     "caption", "center", "cite",    "code",    "col",    "colgroup", "dd",  "dfn",   "div",        "dl",
     "dt",      "em",     "font",    "h1",      "h2",     "h3",       "h4",  "h5",    "h6",         "hr",
     "i",       "img",    "kbd",     "li",      "map",    "ol",       "p",   "pre",   "q",          "s",
     "samp",    "small",  "span",    "strike",  "strong", "sub",      "sup", "table", "tbody",      "td",
     "tfoot",   "th",     "thead",   "tr",      "tt",     "u",        "ul",  "var"});

constexpr auto allowed_attributes = std::to_array<std::string_view>(
    {"abbr",        "accesskey", "align",    "alt",      "axis",      "bgcolor", "border", "cellpadding",
     "cellspacing", "char",      "charoff",  "charset",  "cite",      "class",   "clear",  "color",
     "cols",        "colspan",   "compact",  "coords",   "datetime",  "dir",     "face",   "frame",
     "headers",     "height",    "href",     "hreflang", "hspace",    "id",      "ismap",  "lang",
     "longdesc",    "name",      "nohref",   "noshade",  "nowrap",    "rel",     "rev",    "rows",
     "rowspan",     "rules",     "scope",    "shape",    "size",      "span",    "src",    "start",
     "style",       "summary",   "tabindex", "target",   "title",     "type",    "usemap", "valign",
     "value",       "vspace",    "width",    "xml:lang", "xml:space", "xmlns"});

static_assert(std::is_sorted(allowed_elements.begin(), allowed_elements.end()));
static_assert(std::is_sorted(allowed_attributes.begin(), allowed_attributes.end()));

template <std::size_t size>
bool contains(const std::array<std::string_view, size>& sorted, std::string_view name) {
  return std::binary_search(sorted.begin(), sorted.end(), name);
}

bool is_space(char c) {
  return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

bool is_name_character(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_' ||
         c == ':' || c == '.' || static_cast<unsigned char>(c) >= 0x80;
}

class Judge {
 public:
  explicit Judge(std::string_view text) : text_(text) {}

  NarrativeJudgement judge() {
    skip_space();
    while (at_ < text_.size() && judgement_.fault.empty()) {
      const auto tag = std::min(text_.find('<', at_), text_.size());
      read_text(text_.substr(at_, tag - at_));
      at_ = tag;
      if (at_ < text_.size() && judgement_.fault.empty()) read_markup();
    }
    if (judgement_.fault.empty() && !root_seen_) fail("no div");
    if (judgement_.fault.empty() && !open_.empty()) fail("an element is not closed");
    if (!judgement_.fault.empty()) judgement_.blank = false;  // it was not read to its end
    return judgement_;
  }

 private:
  void fail(std::string_view fault) {
    if (judgement_.fault.empty()) judgement_.fault = fault;
  }
  bool starts(std::string_view with) const { return text_.substr(at_).starts_with(with); }
  void skip_space() {
    while (at_ < text_.size() && is_space(text_[at_])) ++at_;
  }

  void read_text(std::string_view text) {
    if (open_.empty()) {
      if (!std::all_of(text.begin(), text.end(), is_space)) fail("text outside of the div");
      return;
    }
    if (judgement_.blank) judgement_.blank = std::all_of(text.begin(), text.end(), is_space);
    check_entities(text);
  }

  // &name; &#160; &#xA0; and no other ampersand.
  void check_entities(std::string_view text) {
    for (auto mark = text.find('&'); mark != std::string_view::npos; mark = text.find('&', mark + 1)) {
      auto end = mark + 1;
      if (end < text.size() && text[end] == '#') ++end;
      const auto begin = end;
      while (end < text.size() && is_name_character(text[end])) ++end;
      if (end == begin || end == text.size() || text[end] != ';')
        return fail("an ampersand that is no entity");
    }
  }

  void skip_past(std::string_view end, std::string_view fault) {
    const auto found = text_.find(end, at_);
    if (found == std::string_view::npos) return fail(fault);
    at_ = found + end.size();
  }

  void read_markup() {
    if (starts("<!--")) return skip_past("-->", "a comment is not closed");
    if (starts("<![CDATA[")) {
      judgement_.blank = false;
      return skip_past("]]>", "a CDATA section is not closed");
    }
    if (starts("<!")) return fail("a document type is not allowed");
    if (starts("<?")) return fail("a processing instruction is not allowed");
    const bool closes = starts("</");
    at_ += closes ? 2 : 1;
    const auto name = read_name();
    if (name.empty()) return fail("a '<' that begins no element");
    if (closes) {
      skip_space();
      if (open_.empty() || open_.back() != name || !starts(">"))
        return fail("elements are not closed in order");
      ++at_;
      open_.pop_back();
      return;
    }
    open_element(name);
  }

  std::string_view read_name() {
    const auto begin = at_;
    while (at_ < text_.size() && is_name_character(text_[at_])) ++at_;
    return text_.substr(begin, at_ - begin);
  }

  void open_element(std::string_view name) {
    if (open_.empty()) {
      if (root_seen_) return fail("more than one div");
      if (name != "div") return fail("the outermost element is not div");
      root_seen_ = true;
    }
    if (!contains(allowed_elements, name)) return fail("an element that is not allowed");
    if (open_.size() >= deepest) return fail("elements nested too deeply");
    const bool root = open_.empty();
    bool in_namespace = false;
    while (judgement_.fault.empty()) {
      const auto before = at_;
      skip_space();
      if (starts("/>")) {
        at_ += 2;
        break;
      }
      if (starts(">")) {
        ++at_;
        open_.push_back(name);
        break;
      }
      if (before == at_) return fail("a tag is not closed");
      const auto attribute = read_name();
      skip_space();
      if (attribute.empty() || !starts("=")) return fail("an attribute without a value");
      ++at_;
      skip_space();
      if (at_ >= text_.size() || (text_[at_] != '"' && text_[at_] != '\''))
        return fail("an attribute without quotes");
      const auto end = text_.find(text_[at_], at_ + 1);
      if (end == std::string_view::npos) return fail("an attribute is not closed");
      const auto value = text_.substr(at_ + 1, end - at_ - 1);
      at_ = end + 1;
      read_attribute(attribute, value, in_namespace);
    }
    if (root && !in_namespace) fail("the div is not in the XHTML namespace");
    if (name == "img") judgement_.blank = false;
  }

  void read_attribute(std::string_view name, std::string_view value, bool& in_namespace) {
    if (value.find('<') != std::string_view::npos) return fail("'<' in an attribute");
    check_entities(value);
    if (name == "xmlns") {
      if (value != "http://www.w3.org/1999/xhtml") return fail("a namespace other than XHTML");
      in_namespace = true;
    } else if (name.starts_with("xmlns:")) {
      return;  // declared and, as prefixed names are refused, not used
    } else if (!contains(allowed_attributes, name)) {
      fail("an attribute that is not allowed");
    } else if ((name == "href" || name == "src") && runs_script(value)) {
      fail("a link that runs a script");
    }
  }

  static bool runs_script(std::string_view link) {
    constexpr std::string_view scheme = "javascript:";
    while (!link.empty() && is_space(link.front())) link.remove_prefix(1);
    if (link.size() < scheme.size()) return false;
    return std::equal(scheme.begin(), scheme.end(), link.begin(),
                      [](char a, char b) { return a == (b >= 'A' && b <= 'Z' ? b - 'A' + 'a' : b); });
  }

  static constexpr std::size_t deepest = 200;
  std::string_view text_;
  std::size_t at_ = 0;
  bool root_seen_ = false;
  std::vector<std::string_view> open_;
  NarrativeJudgement judgement_;
};

}  // namespace

NarrativeJudgement judge_narrative(std::string_view div) {
  return Judge(div).judge();
}

}  // namespace charpie::fhir
