// How the lists of settings are written, for the files that hold them only: included once, after all other headers.
//
// GROUP opens a struct of settings; BIND binds one of its members under the member's own name, between the limits
// given. Limits are about a quarter and four times the default, shares and angles ending where they lose their meaning:
// a stage is not tested beyond. Limits on what a file may hold may be lowered further.
#pragma once

#include "pipelines/member_count.h"
#include "pipelines/settings_table.h"

#define GROUP(Type, struct_, key, not_entries) \
  auto& group = struct_;                       \
  table.begin_group({key, &group, sizeof(Type), member_count<Type>(), not_entries})
#define BIND(member, least, most) table.add(#member, group.member, least, most)
#define ORDER(smaller, larger) table.in_order(&group.smaller, &group.larger)
