/** How stories are put together for the eye: by the engine's groups, the unlikely ones counted only. */
import type { Story } from "../generated/models";

export interface StoryGroup {
  id: number;
  /** The stories of the group that are named, most likely first. */
  stories: Story[];
  /** Members of the group that are not named. */
  others: number;
  odds: number;
  explains: readonly string[];
  leavesOpen: readonly string[];
  reasons: string[];
  second: { title: string; odds: number } | null;
}

const WORTH_A_LINE = 0.05;
const GROUPS_SHOWN = 4;
const NAMED_IN_A_GROUP = 3;

/** A way of counting is true beside whatever happened: it is no rival of the stories of its group. */
function isCounting(story: Story): boolean {
  return story.kind === "counted_differently";
}

/** The way of counting, if it is worth a line. */
export function countingStory(stories: readonly Story[]): Story | null {
  return stories.find((story) => isCounting(story) && story.odds >= WORTH_A_LINE) ?? null;
}

export function storyGroups(stories: readonly Story[]): { groups: StoryGroup[]; rest: number } {
  const happened = stories.filter((story) => !isCounting(story));
  const byGroup = new Map<number, Story[]>();
  for (const story of happened) {
    const members = byGroup.get(story.group);
    if (members === undefined) byGroup.set(story.group, [story]);
    else members.push(story);
  }
  const all = [...byGroup].map(([id, members]) => toGroup(id, members)).sort((a, b) => b.odds - a.odds);
  const groups = all.filter((group, i) => i === 0 || group.odds >= WORTH_A_LINE).slice(0, GROUPS_SHOWN);
  const named = groups.reduce((n, group) => n + group.stories.length + group.others, 0);
  return { groups, rest: happened.length - named };
}

function toGroup(id: number, members: Story[]): StoryGroup {
  const stories = [...members].sort((a, b) => b.odds - a.odds);
  const top = stories[0];
  return {
    id,
    stories: stories.slice(0, NAMED_IN_A_GROUP),
    others: Math.max(0, stories.length - NAMED_IN_A_GROUP),
    odds: stories.reduce((sum, story) => sum + story.odds, 0),
    explains: top?.explains ?? [],
    leavesOpen: top?.leaves_open ?? [],
    reasons: (top?.reasons ?? []).map((reason) => reason.sentence),
    second:
      top?.second_title == null || (top.second_odds ?? 0) < WORTH_A_LINE
        ? null
        : { title: top.second_title, odds: top.second_odds ?? 0 },
  };
}
